//! One value in CBOR, as far as SenML has a use for it. What it has none for is read to its end and let go, so that a
//! large value that nobody asked for takes no memory.

use std::fmt;

use serde::de::{Deserialize, Deserializer, EnumAccess, Error, MapAccess, SeqAccess, VariantAccess, Visitor};

use crate::senml::labels::Written;

/// "Decimal fraction" (RFC 8949, section 3.4.4): exponent of ten, and mantissa.
const DECIMAL_FRACTION: u64 = 4;

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Item {
    Integer(i128),
    Float(f64),
    Text(String),
    Boolean(bool),
    /// `null` and `undefined`.
    Null,
    Bytes,
    /// A list of two integers: what a decimal fraction is made of.
    Pair(i128, i128),
    Other,
}

impl Item {
    pub(crate) fn into_written(self) -> Written<'static> {
        match self {
            Item::Integer(number) => Written::Number(number as f64),
            Item::Float(number) => Written::Number(number),
            Item::Text(text) => Written::Text(text.into()),
            Item::Boolean(on) => Written::Boolean(on),
            Item::Null => Written::Null,
            Item::Bytes => Written::Bytes,
            Item::Pair(..) | Item::Other => Written::Other,
        }
    }

    /// What a tag makes of the item behind it. Tags that we do not know say nothing about a plain value.
    fn tagged(self, tag: u64) -> Item {
        if let (DECIMAL_FRACTION, Item::Pair(exponent, mantissa)) = (tag, &self) {
            return decimal(*exponent, *mantissa);
        }
        self
    }
}

/// `mantissa` × 10^`exponent`, as the float nearest to it: the text of a number is what Rust rounds best.
fn decimal(exponent: i128, mantissa: i128) -> Item {
    format!("{mantissa}e{exponent}").parse().map_or(Item::Other, Item::Float)
}

impl<'de> Deserialize<'de> for Item {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Item, D::Error> {
        deserializer.deserialize_any(ItemVisitor)
    }
}

struct ItemVisitor;

impl<'de> Visitor<'de> for ItemVisitor {
    type Value = Item;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    fn visit_bool<E: Error>(self, on: bool) -> Result<Item, E> {
        Ok(Item::Boolean(on))
    }

    fn visit_i64<E: Error>(self, number: i64) -> Result<Item, E> {
        Ok(Item::Integer(number.into()))
    }

    fn visit_u64<E: Error>(self, number: u64) -> Result<Item, E> {
        Ok(Item::Integer(number.into()))
    }

    fn visit_i128<E: Error>(self, number: i128) -> Result<Item, E> {
        Ok(Item::Integer(number))
    }

    fn visit_u128<E: Error>(self, number: u128) -> Result<Item, E> {
        Ok(i128::try_from(number).map_or(Item::Float(number as f64), Item::Integer))
    }

    fn visit_f64<E: Error>(self, number: f64) -> Result<Item, E> {
        Ok(Item::Float(number))
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Item, E> {
        Ok(Item::Text(text.to_owned()))
    }

    fn visit_string<E: Error>(self, text: String) -> Result<Item, E> {
        Ok(Item::Text(text))
    }

    fn visit_bytes<E: Error>(self, _bytes: &[u8]) -> Result<Item, E> {
        Ok(Item::Bytes)
    }

    fn visit_none<E: Error>(self) -> Result<Item, E> {
        Ok(Item::Null)
    }

    fn visit_unit<E: Error>(self) -> Result<Item, E> {
        Ok(Item::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Item, A::Error> {
        let first = list.next_element::<Item>()?;
        let second = list.next_element::<Item>()?;
        let mut is_pair = true;
        while list.next_element::<Item>()?.is_some() {
            is_pair = false;
        }
        match (first, second) {
            (Some(Item::Integer(first)), Some(Item::Integer(second))) if is_pair => {
                Ok(Item::Pair(first, second))
            }
            _ => Ok(Item::Other),
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Item, A::Error> {
        while map.next_entry::<Item, Item>()?.is_some() {}
        Ok(Item::Other)
    }

    /// The library hands over a tag and what is behind it as an enum.
    fn visit_enum<A: EnumAccess<'de>>(self, tagged: A) -> Result<Item, A::Error> {
        let (_name, both) = tagged.variant::<String>()?;
        both.tuple_variant(2, TaggedVisitor)
    }
}

struct TaggedVisitor;

impl<'de> Visitor<'de> for TaggedVisitor {
    type Value = Item;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a tag and a value")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut both: A) -> Result<Item, A::Error> {
        let tag = both.next_element::<u64>()?;
        let item = both.next_element::<Item>()?;
        match (tag, item) {
            (Some(tag), Some(item)) => Ok(item.tagged(tag)),
            _ => Err(A::Error::custom("a tag stands before a value")),
        }
    }
}
