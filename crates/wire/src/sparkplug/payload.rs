//! The payload in Protocol Buffers (specification 3.0.0, chapter 6): the fields that we use, by their numbers there.
//!
//! Metrics are taken apart one by one, so that a broken one does not spoil the others, and counted first, because an
//! empty one takes two bytes in a message and a hundred times that in memory.

use prost::Message as _;

/// A gateway's birth has thousands of metrics.
const MOST_METRICS: usize = 20_000;

/// The datatype Boolean.
const BOOLEAN: u32 = 11;
/// The metric that asks a node for its births (chapter 6, "NCMD").
const REBIRTH: &str = "Node Control/Rebirth";
/// The metric that says which session a birth and a death belong to.
const BD_SEQ: &str = "bdSeq";
/// The property that says whether a value is good (chapter 6, "Quality Codes").
const QUALITY: &str = "Quality";

/// A payload, its metrics not yet taken apart.
#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct Payload {
    #[prost(uint64, optional, tag = "1")]
    pub(crate) timestamp: Option<u64>,
    #[prost(bytes = "vec", repeated, tag = "2")]
    metrics: Vec<Vec<u8>>,
    #[prost(uint64, optional, tag = "3")]
    pub(crate) seq: Option<u64>,
}

/// One metric.
#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct Metric {
    #[prost(string, optional, tag = "1")]
    pub(crate) name: Option<String>,
    #[prost(uint64, optional, tag = "2")]
    pub(crate) alias: Option<u64>,
    #[prost(uint64, optional, tag = "3")]
    pub(crate) timestamp: Option<u64>,
    #[prost(uint32, optional, tag = "4")]
    pub(crate) datatype: Option<u32>,
    #[prost(bool, optional, tag = "5")]
    pub(crate) is_historical: Option<bool>,
    #[prost(bool, optional, tag = "7")]
    pub(crate) is_null: Option<bool>,
    #[prost(message, optional, tag = "9")]
    pub(crate) properties: Option<PropertySet>,
    #[prost(oneof = "Value", tags = "10, 11, 12, 13, 14, 15, 16, 17, 18, 19")]
    pub(crate) value: Option<Value>,
}

/// A metric's value, by the field in which it travels. A field that is there and zero is a value.
#[derive(Clone, PartialEq, prost::Oneof)]
pub(crate) enum Value {
    #[prost(uint32, tag = "10")]
    Int(u32),
    #[prost(uint64, tag = "11")]
    Long(u64),
    #[prost(float, tag = "12")]
    Float(f32),
    #[prost(double, tag = "13")]
    Double(f64),
    #[prost(bool, tag = "14")]
    Boolean(bool),
    #[prost(string, tag = "15")]
    Text(String),
    #[prost(bytes, tag = "16")]
    Bytes(Vec<u8>),
    #[prost(bytes, tag = "17")]
    DataSet(Vec<u8>),
    #[prost(bytes, tag = "18")]
    Template(Vec<u8>),
    #[prost(bytes, tag = "19")]
    Extension(Vec<u8>),
}

#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct PropertySet {
    #[prost(string, repeated, tag = "1")]
    keys: Vec<String>,
    #[prost(message, repeated, tag = "2")]
    values: Vec<PropertyValue>,
}

#[derive(Clone, PartialEq, prost::Message)]
pub(crate) struct PropertyValue {
    #[prost(uint32, optional, tag = "3")]
    int_value: Option<u32>,
    #[prost(uint64, optional, tag = "4")]
    long_value: Option<u64>,
}

/// What a sender says of a value (chapter 6, "Quality Codes").
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Quality {
    /// 192, and where nothing is said.
    Good,
    /// 0: the value means nothing.
    Bad,
    /// 500: the value was true earlier.
    Stale,
    /// A number that the specification does not have.
    Other(u64),
}

impl Payload {
    /// # Errors
    /// A plain sentence if it is no such payload, or has too many metrics.
    pub(crate) fn parse(bytes: &[u8]) -> Result<Payload, String> {
        let payload = Payload::decode(bytes)
            .map_err(|error| format!("the payload is not a Sparkplug B payload ({error})"))?;
        if MOST_METRICS < payload.metrics.len() {
            return Err(format!("a payload has more than {MOST_METRICS} metrics; send fewer at a time"));
        }
        Ok(payload)
    }

    /// The metrics in their order, each with its fault if it has one.
    pub(crate) fn metrics(&self) -> impl Iterator<Item = Result<Metric, String>> {
        self.metrics.iter().zip(1..).map(|(bytes, number)| {
            Metric::decode(bytes.as_slice())
                .map_err(|error| format!("metric {number} of the payload cannot be read ({error})"))
        })
    }

    /// The session that a node's birth or death belongs to. The datatype is Int64 or UInt64: the specification prints
    /// both.
    pub(crate) fn bd_seq(&self) -> Option<u64> {
        let metric = self.metrics().flatten().find(|metric| metric.name.as_deref() == Some(BD_SEQ))?;
        match metric.value? {
            Value::Int(number) => Some(number.into()),
            Value::Long(number) => Some(number),
            Value::Float(_)
            | Value::Double(_)
            | Value::Boolean(_)
            | Value::Text(_)
            | Value::Bytes(_)
            | Value::DataSet(_)
            | Value::Template(_)
            | Value::Extension(_) => None,
        }
    }

    /// A payload of these metrics.
    #[cfg(test)]
    pub(crate) fn of(timestamp: Option<u64>, seq: Option<u64>, metrics: &[Metric]) -> Payload {
        Payload { timestamp, metrics: metrics.iter().map(Metric::encode_to_vec).collect(), seq }
    }

    /// The command that asks a node for its births. A command has no sequence number (chapter 6, "NCMD").
    pub(crate) fn rebirth_command(millis: u64) -> Vec<u8> {
        let metric = Metric {
            name: Some(REBIRTH.to_owned()),
            timestamp: Some(millis),
            datatype: Some(BOOLEAN),
            value: Some(Value::Boolean(true)),
            ..Metric::default()
        };
        Payload { timestamp: Some(millis), metrics: vec![metric.encode_to_vec()], seq: None }.encode_to_vec()
    }
}

impl Metric {
    /// The same metric with a quality code.
    #[cfg(test)]
    pub(crate) fn with_quality(self, code: u32) -> Metric {
        let value = PropertyValue { int_value: Some(code), long_value: None };
        let properties = PropertySet { keys: vec![QUALITY.to_owned()], values: vec![value] };
        Metric { properties: Some(properties), ..self }
    }

    pub(crate) fn quality(&self) -> Quality {
        let Some(properties) = &self.properties else { return Quality::Good };
        let named = properties.keys.iter().zip(&properties.values).find(|(key, _)| *key == QUALITY);
        let number = named.and_then(|(_, value)| value.int_value.map(u64::from).or(value.long_value));
        match number {
            None | Some(192) => Quality::Good,
            Some(0) => Quality::Bad,
            Some(500) => Quality::Stale,
            Some(other) => Quality::Other(other),
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Map, Value as Json, json};

    use super::*;
    use crate::sparkplug::vectors;

    /// A payload in the form of the vectors' `decoded_json`.
    fn shown(payload: &Payload) -> Json {
        let mut object = Map::new();
        payload.timestamp.map(|millis| object.insert("timestamp".into(), millis.into()));
        let metrics: Vec<Json> = payload.metrics().map(|metric| shown_metric(&metric.unwrap())).collect();
        object.insert("metrics".into(), metrics.into());
        payload.seq.map(|seq| object.insert("seq".into(), seq.into()));
        object.into()
    }

    fn shown_metric(metric: &Metric) -> Json {
        let mut object = Map::new();
        let mut put = |key: &str, value: Option<Json>| value.map(|value| object.insert(key.into(), value));
        put("name", metric.name.clone().map(Json::from));
        put("alias", metric.alias.map(Json::from));
        put("timestamp", metric.timestamp.map(Json::from));
        put("datatype", metric.datatype.map(Json::from));
        put("is_historical", metric.is_historical.map(Json::from));
        put("is_null", metric.is_null.map(Json::from));
        match metric.value.clone() {
            Some(Value::Int(number)) => put("int_value", Some(number.into())),
            Some(Value::Long(number)) => put("long_value", Some(number.into())),
            Some(Value::Float(number)) => put("float_value", Some(number.into())),
            Some(Value::Double(number)) => put("double_value", Some(number.into())),
            Some(Value::Boolean(on)) => put("boolean_value", Some(on.into())),
            Some(Value::Text(text)) => put("string_value", Some(text.into())),
            Some(Value::Bytes(_) | Value::DataSet(_) | Value::Template(_) | Value::Extension(_)) | None => {
                None
            }
        };
        if let Quality::Stale = metric.quality() {
            put("properties", Some(json!({ "Quality": { "type": 3, "int_value": 500 } })));
        }
        object.into()
    }

    #[test]
    fn the_byte_vectors_mean_what_is_printed_beside_them() {
        let vectors = vectors::list("vector");
        assert_eq!(vectors.len(), 8);
        for case in vectors {
            let name = vectors::text(&case, "name");
            let payload = Payload::parse(&vectors::bytes(&case)).unwrap();
            let mut expected: Json = serde_json::from_str(vectors::text(&case, "decoded_json")).unwrap();
            for metric in expected["metrics"].as_array_mut().unwrap() {
                // How a signed number is meant; its bytes are compared here.
                metric.as_object_mut().unwrap().remove("as_signed");
            }
            assert_eq!(shown(&payload), expected, "{name}");
        }
    }

    #[test]
    fn the_rebirth_command_has_the_bytes_of_the_vector() {
        let case = vectors::named("rebirth_request_made_up");
        assert_eq!(Payload::rebirth_command(1_700_000_003_000), vectors::bytes(&case));
    }

    #[test]
    fn the_session_number_is_found_in_births_and_deaths() {
        for name in ["ndeath", "nbirth_short"] {
            let payload = Payload::parse(&vectors::bytes(&vectors::named(name))).unwrap();
            assert_eq!(payload.bd_seq(), Some(0), "{name}");
        }
    }

    #[test]
    fn a_broken_metric_does_not_spoil_the_others() {
        let good = Metric { name: Some("room".into()), ..Metric::default() }.encode_to_vec();
        let payload = Payload { metrics: vec![good.clone(), vec![0xff], good], ..Payload::default() };
        let read: Vec<bool> = payload.metrics().map(|metric| metric.is_ok()).collect();
        assert_eq!(read, [true, false, true]);
    }

    #[test]
    fn what_is_no_payload_is_told() {
        assert!(
            Payload::parse(b"31.25").unwrap_err().starts_with("the payload is not a Sparkplug B payload")
        );
        let many = [0x12, 0x00].repeat(MOST_METRICS + 1);
        assert!(Payload::parse(&many).unwrap_err().contains("more than 20000 metrics"));
    }
}
