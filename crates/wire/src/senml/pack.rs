//! A list of records of bounded length, whatever form the records have.

use std::fmt;
use std::marker::PhantomData;

use serde::de::{Deserialize, Deserializer, Error, SeqAccess, Visitor};

/// Three hours of seven channels every second are 75,600 records; more at a time is a mistake.
pub(crate) const MOST_RECORDS: usize = 100_000;

/// The records of a pack.
pub(crate) struct Pack<T>(pub(crate) Vec<T>);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Pack<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Pack<T>, D::Error> {
        deserializer.deserialize_seq(PackVisitor(PhantomData))
    }
}

struct PackVisitor<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for PackVisitor<T> {
    type Value = Pack<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a pack, which is a list of records")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Pack<T>, A::Error> {
        let mut records = Vec::new();
        while let Some(record) = list.next_element()? {
            if records.len() == MOST_RECORDS {
                return Err(A::Error::custom(format_args!(
                    "a pack has more than {MOST_RECORDS} records; send fewer at a time"
                )));
            }
            records.push(record);
        }
        Ok(Pack(records))
    }
}
