//! From a metric's value field and datatype to a number (specification 3.0.0, chapter 6, "Datatype Details").
//!
//! Signed numbers travel as two's complement in fields that are unsigned. Senders differ in how wide they write a small
//! one (−1 as Int8 is 255 here and 4,294,967,295 there) and in which field they put an unsigned one; both are read as
//! long as the number fits its datatype. A float in place of a double or an integer is taken for what it is.

use crate::sparkplug::payload::Value;

/// What kind of number a datatype is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Datatype {
    /// Int8 to Int64, in bits.
    Signed(u32),
    /// UInt8 to UInt64, in bits.
    Unsigned(u32),
    /// Float or Double.
    Float,
    /// True or false.
    Boolean,
    /// Texts, times, sets, templates, arrays: no number.
    NoNumber,
}

impl Datatype {
    /// By its number in the specification. 0 is "unknown", which a birth must not say.
    pub(crate) fn of(number: u32) -> Datatype {
        match number {
            1..=4 => Datatype::Signed(4 << number),
            5..=8 => Datatype::Unsigned(4 << (number - 4)),
            9 | 10 => Datatype::Float,
            11 => Datatype::Boolean,
            _ => Datatype::NoNumber,
        }
    }
}

/// A value that can be a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Figure {
    Number(f64),
    Boolean(bool),
}

/// Does the field alone say what the value is? An integer needs a datatype to tell its sign.
pub(crate) fn speaks_for_itself(value: Option<&Value>) -> bool {
    !matches!(value, Some(Value::Int(_) | Value::Long(_)))
}

/// The figure in `value`.
///
/// # Errors
/// A plain sentence if it is none.
pub(crate) fn figure(value: &Value, datatype: Option<Datatype>) -> Result<Figure, String> {
    if datatype == Some(Datatype::NoNumber) {
        return Err("its datatype is not that of a number; declare it as one in the birth".into());
    }
    match value {
        Value::Int(bits) => integer(u64::from(*bits), 32, datatype),
        Value::Long(bits) => integer(*bits, 64, datatype),
        Value::Float(number) => Ok(Figure::Number(shortest(*number))),
        Value::Double(number) => Ok(Figure::Number(*number)),
        Value::Boolean(on) => Ok(Figure::Boolean(*on)),
        Value::Text(text) => Err(text_is_no_number(text)),
        Value::Bytes(_) | Value::DataSet(_) | Value::Template(_) | Value::Extension(_) => {
            Err("its value is a set, a template or bytes; send one number a metric".into())
        }
    }
}

/// 31.2 as a float is 31.200000762939453; what its sender meant is the shortest number that gives the same float.
fn shortest(number: f32) -> f64 {
    number.to_string().parse().unwrap_or(f64::from(number))
}

fn text_is_no_number(text: &str) -> String {
    let shown: String = text.chars().take(40).collect();
    match text.trim().parse::<f64>() {
        Ok(_) => format!("`{shown}` is a number written as text; send it as Float or Double"),
        Err(_) => format!("`{shown}` is text; send a number"),
    }
}

fn integer(bits: u64, field: u32, datatype: Option<Datatype>) -> Result<Figure, String> {
    let number = match datatype {
        Some(Datatype::Signed(width)) => signed(bits, field, width).map(|number| number as f64),
        Some(Datatype::Unsigned(width)) => fits(bits, width).then_some(bits as f64),
        // An integer where a float was declared cannot be negative unless it says so.
        Some(Datatype::Float) => Some(bits as f64),
        Some(Datatype::Boolean) if bits <= 1 => return Ok(Figure::Boolean(bits == 1)),
        Some(Datatype::Boolean | Datatype::NoNumber) => None,
        None => {
            return Err(
                "it is an integer without a datatype, and its birth, which has it, is not known".into()
            );
        }
    };
    number.map(Figure::Number).ok_or_else(|| format!("{bits} does not fit its datatype"))
}

/// Two's complement of `width` bits in a field of `field` bits, carried to the field's full width or not.
fn signed(bits: u64, field: u32, width: u32) -> Option<i64> {
    let narrower = width.min(field);
    if fits(bits, narrower) {
        return Some(extended(bits, narrower));
    }
    let number = extended(bits, field);
    let least = extended(1 << (width - 1), width);
    (least..=!least).contains(&number).then_some(number)
}

fn fits(bits: u64, width: u32) -> bool {
    bits.checked_shr(width).unwrap_or(0) == 0
}

/// The sign bit of `width` bits carried to the left.
fn extended(bits: u64, width: u32) -> i64 {
    let unused = 64 - width;
    ((bits << unused) as i64) >> unused
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sparkplug::vectors;

    fn number(value: &Value, datatype: u32) -> Result<f64, String> {
        match figure(value, Some(Datatype::of(datatype)))? {
            Figure::Number(number) => Ok(number),
            Figure::Boolean(on) => Err(format!("{on}")),
        }
    }

    #[test]
    fn datatypes_have_the_numbers_and_fields_of_the_specification() {
        for case in vectors::list("datatype") {
            let name = vectors::text(&case, "name");
            let found = Datatype::of(u32::try_from(case["number"].as_integer().unwrap()).unwrap());
            let expected = match name {
                "Int8" => Datatype::Signed(8),
                "Int16" => Datatype::Signed(16),
                "Int32" => Datatype::Signed(32),
                "Int64" => Datatype::Signed(64),
                "UInt8" => Datatype::Unsigned(8),
                "UInt16" => Datatype::Unsigned(16),
                "UInt32" => Datatype::Unsigned(32),
                "UInt64" => Datatype::Unsigned(64),
                "Float" | "Double" => Datatype::Float,
                "Boolean" => Datatype::Boolean,
                _ => Datatype::NoNumber,
            };
            assert_eq!(found, expected, "{name}");
        }
    }

    #[test]
    fn signed_numbers_come_back_from_two_s_complement() {
        // Int32: the made-up birth of the vectors. Narrow ones in both widths that are in use.
        assert_eq!(number(&Value::Int(4_294_967_295), 3), Ok(-1.0));
        assert_eq!(number(&Value::Int(255), 1), Ok(-1.0));
        assert_eq!(number(&Value::Int(4_294_967_295), 1), Ok(-1.0));
        assert_eq!(number(&Value::Int(0xff80), 2), Ok(-128.0));
        assert_eq!(number(&Value::Int(0x8000_0000), 3), Ok(-2_147_483_648.0));
        assert_eq!(number(&Value::Long(u64::MAX - 1), 4), Ok(-2.0));
        assert_eq!(number(&Value::Int(127), 1), Ok(127.0));
        assert_eq!(number(&Value::Int(4_294_967_295), 4), Ok(-1.0), "an Int64 in the narrow field");
        assert_eq!(number(&Value::Int(300), 1), Err("300 does not fit its datatype".into()));
    }

    #[test]
    fn unsigned_numbers_are_what_they_are() {
        assert_eq!(number(&Value::Int(255), 5), Ok(255.0));
        assert_eq!(number(&Value::Int(256), 5), Err("256 does not fit its datatype".into()));
        assert_eq!(number(&Value::Int(4_294_967_295), 7), Ok(4_294_967_295.0));
        assert_eq!(number(&Value::Long(4_294_967_295), 7), Ok(4_294_967_295.0));
        assert_eq!(number(&Value::Long(u64::MAX), 8), Ok(u64::MAX as f64));
    }

    #[test]
    fn floats_say_what_their_sender_meant() {
        assert_eq!(number(&Value::Float(31.2), 9), Ok(31.2));
        assert_eq!(number(&Value::Float(31.5), 10), Ok(31.5), "a float where a double was declared");
        assert_eq!(number(&Value::Double(31.25), 10), Ok(31.25));
        assert!(number(&Value::Float(f32::NAN), 9).unwrap().is_nan());
        assert_eq!(number(&Value::Float(f32::INFINITY), 9), Ok(f64::INFINITY));
    }

    #[test]
    fn what_is_no_number_is_told() {
        assert!(number(&Value::Text("31.2".into()), 9).unwrap_err().contains("a number written as text"));
        assert!(number(&Value::Text("warm".into()), 9).unwrap_err().contains("is text"));
        assert!(number(&Value::Text("31.2".into()), 12).unwrap_err().contains("datatype"));
        assert!(figure(&Value::Int(5), None).unwrap_err().contains("without a datatype"));
        assert_eq!(figure(&Value::Int(1), Some(Datatype::Boolean)), Ok(Figure::Boolean(true)));
    }
}
