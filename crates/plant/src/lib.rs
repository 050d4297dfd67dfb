//! The plant file: what one site has, where its broker is and which limits hold.
//!
//! A file is read in two steps. The typed step (`table`, `raw`) turns TOML into a `RawPlant`, in which each
//! value knows its line; the meant step (`meaning`) turns that into a [`Plant`], in which nothing is left to doubt.
//! Both steps go on after a fault, so that a person sees every fault at once and mends the file in one go. That is
//! also why the typed step does not use serde's derives: they stop at the first fault.
//!
//! Never opens a file, never reads a clock.

mod fault;
mod meaning;
mod nearest;
mod raw;
mod reach;
mod table;

mod limits;
mod mqtt;
mod plant;
mod source;
mod temper_test;
mod time_zone;

pub use crate::fault::PlantFault;
pub use crate::limits::{Family, LimitOverrides, Limits};
pub use crate::meaning::parse_plant;
pub use crate::mqtt::{BrokerUrl, ClientCertificate, Login, Mqtt, NamedFile, PasswordFrom};
pub use crate::plant::{
    ChannelSettings, ColdJunction, Couverture, MOST_KG, Machine, Plant, Sensor, Style, ToleranceClass,
};
pub use crate::reach::{
    Contact, ContactWay, MailSecurity, MailServer, QuietHours, Reach, ReachRule, ReachStep,
};
pub use crate::source::{Captured, JsonPointer, JsonTime, JsonValue, Source, TimeFormat, TopicFilter};
pub use crate::temper_test::{CurveRules, Follows, ProbeCheckRules, TemperTestRules, TestGrade};
pub use crate::time_zone::TimeZone;
