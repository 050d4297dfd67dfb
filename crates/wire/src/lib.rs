//! Bytes in, readings and events out; and what could not be read, with a plain sentence.
//!
//! A [`Decoder`] knows the plant file and turns one [`Message`] at a time into [`Decoded`]: bad input is data, so a
//! broken record stands among the rejects and the rest of its message is still read. [`recording`] reads recorded
//! streams into the same messages, so that live and offline decode alike.
//!
//! Never waits, never reads a clock: the moment of arrival comes with the message. Never sends: what should be asked of
//! a sender is a [`Request`] for the caller to publish.

mod decoder;
mod message;
mod topic;

mod bare;
mod channel_value;
mod event;
mod json_source;
mod lenient_json;
mod rfc3339;
mod senml;
mod sparkplug;
mod waiting;

pub mod logger;
pub mod recording;

pub use crate::decoder::Decoder;
pub use crate::event::{
    CurvePoint, Further, Inflection, MOST_CURVE_POINTS, SampleCurve, curve_of_table, further, parse_event,
    sample_curve,
};
pub use crate::message::{Decoded, HeldMessage, Message, Reject, Request};
pub use crate::rfc3339::parse_rfc3339;
