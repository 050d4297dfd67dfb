//! Foreign topics: where others already publish, and how to find machine, channel, value and time in it.

use std::fmt;

use model::{Channel, MachineId};

/// One `[[source]]` of the plant file.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// Which topics.
    pub filter: TopicFilter,
    /// The machine, where the filter has no `{machine}`.
    pub machine: Option<MachineId>,
    /// The channel, where the filter has no `{channel}`.
    pub channel: Option<Channel>,
    /// Where value and time stand, for plain JSON; `None` if the payload is a bare number or a SenML pack.
    pub json: Option<JsonValue>,
}

/// Where the value stands in a JSON payload, and its time.
#[derive(Debug, Clone, PartialEq)]
pub struct JsonValue {
    /// The value.
    pub value: JsonPointer,
    /// The time; the arrival counts where there is none.
    pub time: Option<JsonTime>,
}

/// Where the time stands in a JSON payload, and how it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct JsonTime {
    /// Where.
    pub pointer: JsonPointer,
    /// How.
    pub format: TimeFormat,
}

/// How a time is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeFormat {
    /// `2026-03-02T05:00:00Z`
    Rfc3339,
    /// Seconds since 1970.
    UnixSeconds,
    /// Milliseconds since 1970.
    UnixMillis,
}

/// A place in a JSON document (RFC 6901), such as `/readings/0/value`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JsonPointer(String);

/// An MQTT topic filter in which `{machine}` and `{channel}` can stand for a segment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TopicFilter {
    segments: Vec<Segment>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Segment {
    Literal(String),
    Machine,
    Channel,
    AnyOne,
    AllBelow,
}

/// What a topic held where the filter has `{machine}` and `{channel}`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Captured<'t> {
    /// In place of `{machine}`.
    pub machine: Option<&'t str>,
    /// In place of `{channel}`.
    pub channel: Option<&'t str>,
}

impl TimeFormat {
    /// Every format, in the order of the contract.
    pub const ALL: [TimeFormat; 3] = [TimeFormat::Rfc3339, TimeFormat::UnixSeconds, TimeFormat::UnixMillis];

    /// The contract's word.
    pub fn as_str(self) -> &'static str {
        match self {
            TimeFormat::Rfc3339 => "rfc3339",
            TimeFormat::UnixSeconds => "unix-s",
            TimeFormat::UnixMillis => "unix-ms",
        }
    }
}

impl JsonPointer {
    /// Reads a pointer.
    ///
    /// # Errors
    /// A plain sentence that says what is wrong with it.
    pub fn parse(text: &str) -> Result<JsonPointer, String> {
        if !text.is_empty() && !text.starts_with('/') {
            return Err(format!(
                "`{text}` is not a JSON pointer (RFC 6901); it begins with `/`, such as `/{text}`"
            ));
        }
        let is_escaped = text.split('~').skip(1).all(|after| after.starts_with(['0', '1']));
        if !is_escaped {
            return Err(format!(
                "`{text}` is not a JSON pointer (RFC 6901); write `~0` for `~` and `~1` for `/` in a name"
            ));
        }
        Ok(JsonPointer(text.to_owned()))
    }

    /// As written.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TopicFilter {
    /// Reads a filter.
    ///
    /// # Errors
    /// A plain sentence that says what is wrong with it.
    pub fn parse(text: &str) -> Result<TopicFilter, String> {
        if text.is_empty() {
            return Err("a filter cannot be empty".into());
        }
        let segments: Vec<Segment> = text.split('/').map(parse_segment).collect::<Result<_, _>>()?;
        if segments.iter().rev().skip(1).any(|segment| *segment == Segment::AllBelow) {
            return Err(format!("in `{text}` the `#` must be the last segment"));
        }
        for (wanted, word) in [(Segment::Machine, "{machine}"), (Segment::Channel, "{channel}")] {
            if 1 < segments.iter().filter(|segment| **segment == wanted).count() {
                return Err(format!("in `{text}` the segment `{word}` can stand only once"));
            }
        }
        Ok(TopicFilter { segments })
    }

    /// Does it have a segment `{machine}`?
    pub fn names_machine(&self) -> bool {
        self.segments.contains(&Segment::Machine)
    }

    /// Does it have a segment `{channel}`?
    pub fn names_channel(&self) -> bool {
        self.segments.contains(&Segment::Channel)
    }

    /// The filter to subscribe to: `+` in place of `{machine}` and `{channel}`.
    pub fn subscription(&self) -> String {
        let words: Vec<&str> = self
            .segments
            .iter()
            .map(|segment| match segment {
                Segment::Literal(word) => word,
                Segment::Machine | Segment::Channel | Segment::AnyOne => "+",
                Segment::AllBelow => "#",
            })
            .collect();
        words.join("/")
    }

    /// What `topic` holds in place of `{machine}` and `{channel}`; `None` if the filter does not match it
    /// (MQTT 5.0, section 4.7: `a/#` matches `a` too, and a wildcard at the start matches no topic with `$`).
    pub fn captured<'t>(&self, topic: &'t str) -> Option<Captured<'t>> {
        if topic.starts_with('$') && !matches!(self.segments.first(), Some(Segment::Literal(_))) {
            return None;
        }
        let mut captured = Captured::default();
        let mut words = topic.split('/');
        for segment in &self.segments {
            if *segment == Segment::AllBelow {
                return Some(captured);
            }
            let word = words.next()?;
            match segment {
                Segment::Literal(literal) if literal != word => return None,
                Segment::Literal(_) | Segment::AnyOne | Segment::AllBelow => {}
                Segment::Machine => captured.machine = Some(word),
                Segment::Channel => captured.channel = Some(word),
            }
        }
        words.next().is_none().then_some(captured)
    }
}

fn parse_segment(word: &str) -> Result<Segment, String> {
    match word {
        "{machine}" => Ok(Segment::Machine),
        "{channel}" => Ok(Segment::Channel),
        "+" => Ok(Segment::AnyOne),
        "#" => Ok(Segment::AllBelow),
        literal if literal.contains(['+', '#', '{', '}', '\0']) => Err(format!(
            "the segment `{literal}` mixes words and wildcards; a segment is plain text, `{{machine}}`, `{{channel}}`, `+` or `#`"
        )),
        literal => Ok(Segment::Literal(literal.to_owned())),
    }
}

impl fmt::Display for TopicFilter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, segment) in self.segments.iter().enumerate() {
            if place != 0 {
                f.write_str("/")?;
            }
            f.write_str(match segment {
                Segment::Literal(word) => word,
                Segment::Machine => "{machine}",
                Segment::Channel => "{channel}",
                Segment::AnyOne => "+",
                Segment::AllBelow => "#",
            })?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn captured(filter: &str, topic: &str) -> String {
        match TopicFilter::parse(filter).unwrap().captured(topic) {
            None => "no match".into(),
            Some(found) => format!("{} {}", found.machine.unwrap_or("-"), found.channel.unwrap_or("-")),
        }
    }

    #[test]
    fn segments_are_captured_where_the_filter_matches() {
        assert_eq!(
            captured("hall/{machine}/{channel}/value", "hall/alder/chocolate/value"),
            "alder chocolate"
        );
        assert_eq!(captured("hall/{machine}/+", "hall/alder/x"), "alder -");
        assert_eq!(captured("hall/{machine}/+", "hall/alder/x/y"), "no match");
        assert_eq!(captured("hall/{machine}", "hall"), "no match");
        assert_eq!(captured("oven/t1", "oven/t2"), "no match");
    }

    #[test]
    fn wildcards_are_those_of_mqtt_5_section_4_7() {
        assert_eq!(captured("sport/tennis/player1/#", "sport/tennis/player1"), "- -");
        assert_eq!(captured("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon"), "- -");
        assert_eq!(captured("+/+", "/finance"), "- -");
        assert_eq!(captured("/+", "/finance"), "- -");
        assert_eq!(captured("+", "/finance"), "no match");
        assert_eq!(captured("+/monitor/clients", "$SYS/monitor/clients"), "no match");
        assert_eq!(captured("$SYS/#", "$SYS/monitor"), "- -");
    }

    #[test]
    fn what_is_no_filter_is_told() {
        let told = |text: &str| TopicFilter::parse(text).unwrap_err();
        assert_eq!(told(""), "a filter cannot be empty");
        assert_eq!(told("a/#/b"), "in `a/#/b` the `#` must be the last segment");
        assert_eq!(
            told("{machine}/{machine}"),
            "in `{machine}/{machine}` the segment `{machine}` can stand only once"
        );
        assert!(
            told("a/kettle-{machine}")
                .starts_with("the segment `kettle-{machine}` mixes words and wildcards")
        );
    }

    #[test]
    fn a_filter_is_written_as_it_was_read_and_subscribed_with_plus() {
        let filter = TopicFilter::parse("hall/{machine}/{channel}/+/#").unwrap();
        assert_eq!(filter.to_string(), "hall/{machine}/{channel}/+/#");
        assert_eq!(filter.subscription(), "hall/+/+/+/#");
    }

    #[test]
    fn pointers_are_those_of_rfc_6901() {
        // The examples of RFC 6901, section 5.
        for text in
            ["", "/foo", "/foo/0", "/", "/a~1b", "/c%d", "/e^f", "/g|h", "/i\\j", "/k\"l", "/ ", "/m~0n"]
        {
            assert_eq!(JsonPointer::parse(text).unwrap().as_str(), text);
        }
        assert!(JsonPointer::parse("foo").unwrap_err().ends_with("it begins with `/`, such as `/foo`"));
        assert!(JsonPointer::parse("/a~2").unwrap_err().contains("write `~0` for `~`"));
        assert!(JsonPointer::parse("/a~").is_err());
    }
}
