//! What a device's birth says about its metrics: which channel an alias stands for, and of which datatype.
//!
//! The channel is what stands behind the last `/` of a metric's name (contract, section 2).

use std::collections::HashMap;

use model::Channel;

use crate::sparkplug::datatype::Datatype;
use crate::sparkplug::payload::{Metric, Payload};

/// Names shown where a birth has metrics that are not channels.
const SHOWN_NAMES: usize = 5;
/// A name is shown as far as this.
const SHOWN_CHARS: usize = 60;

/// A metric of a birth that is a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Declared {
    pub(crate) channel: Channel,
    pub(crate) datatype: Option<Datatype>,
}

/// The metrics of one device in the present session.
#[derive(Debug, Default)]
pub(crate) struct Birth {
    /// `None`: a metric that is not a channel.
    aliases: HashMap<u64, Option<Declared>>,
    names: HashMap<String, Declared>,
}

impl Birth {
    /// Learns a birth; also gives the names of metrics that are not channels.
    pub(crate) fn learn(payload: &Payload) -> (Birth, Vec<String>) {
        let (mut birth, mut others) = (Birth::default(), Vec::new());
        for metric in payload.metrics().flatten() {
            let Some(name) = &metric.name else { continue };
            let datatype = metric.datatype.map(Datatype::of);
            let declared = channel(name).map(|channel| Declared { channel, datatype });
            if let Some(alias) = metric.alias {
                birth.aliases.insert(alias, declared);
            }
            match declared {
                Some(declared) => drop(birth.names.insert(name.clone(), declared)),
                None => others.push(name.clone()),
            }
        }
        (birth, others)
    }

    pub(crate) fn named(&self, name: &str) -> Option<Declared> {
        self.names.get(name).copied()
    }

    /// `None` if the birth does not have the alias; `Some(None)` if that metric is not a channel.
    pub(crate) fn aliased(&self, alias: u64) -> Option<Option<Declared>> {
        self.aliases.get(&alias).copied()
    }
}

/// The channel that a metric's name says.
pub(crate) fn channel(name: &str) -> Option<Channel> {
    name.rsplit('/').next().unwrap_or_default().parse().ok()
}

/// Cannot this metric be understood without its birth? An alias has its name there, and an integer its sign.
pub(crate) fn leans_on_birth(metric: &Metric) -> bool {
    metric.name.is_none()
        || (metric.datatype.is_none() && !super::datatype::speaks_for_itself(metric.value.as_ref()))
}

/// A sentence about metrics that are not channels.
pub(crate) fn not_channels(others: &[String]) -> String {
    let shorten = |name: &String| format!("`{}`", name.chars().take(SHOWN_CHARS).collect::<String>());
    let mut shown: Vec<String> = others.iter().take(SHOWN_NAMES).map(shorten).collect();
    if SHOWN_NAMES < others.len() {
        shown.push(format!("{} more", others.len() - SHOWN_NAMES));
    }
    format!(
        "not read, because what stands behind the last `/` is not a channel: {}; the channels are {}",
        shown.join(", "),
        words()
    )
}

/// The channels in words, as everywhere.
fn words() -> String {
    let names: Vec<&str> = Channel::ALL.iter().map(|channel| channel.as_str()).collect();
    match names.split_last() {
        Some((last, first)) => format!("{} and {last}", first.join(", ")),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sparkplug::vectors;

    #[test]
    fn a_birth_is_learnt_by_alias_and_by_name() {
        let payload = Payload::parse(&vectors::bytes(&vectors::named("dbirth_made_up"))).unwrap();
        let (birth, others) = Birth::learn(&payload);
        assert_eq!(others, ["Tank/Temperature", "Tank/Offset", "Tank/Label"]);
        assert_eq!(birth.aliased(7), Some(None), "Temperature is not one of our channels");
        assert_eq!(birth.aliased(6), None);
    }

    #[test]
    fn the_channel_stands_behind_the_last_slash() {
        assert_eq!(channel("Line 2/Kettle/chocolate"), Some(Channel::Chocolate));
        assert_eq!(channel("room"), Some(Channel::Room));
        assert_eq!(channel("chocolate/raw"), None);
        assert_eq!(channel(""), None);
    }

    #[test]
    fn many_strange_names_are_told_in_one_sentence() {
        let names: Vec<String> = (0..9).map(|n| format!("Motor/{n}")).collect();
        let says = not_channels(&names);
        assert!(says.contains("`Motor/4`, 4 more; the channels are chocolate, jacket"), "{says}");
    }
}
