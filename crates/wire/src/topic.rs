//! What a topic says: which machine, which channel, or that it is an event.

/// A topic under the plant's root, before machine and channel are looked up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Topic<'t> {
    /// `works/<machine>`
    Machine(&'t str),
    /// `works/<machine>/<channel>`
    Channel(&'t str, &'t str),
    /// `works/<machine>/event`
    Event(&'t str),
    /// `works/<machine>/standing`: what we publish ourselves.
    Standing,
    /// Under the root, with more or fewer parts than we know.
    Odd,
    /// `spBv1.0/…`
    SparkplugB,
    /// Anything else.
    Foreign,
}

/// Which topic of ours `topic` is, where ours begin with `root`.
pub(crate) fn parse<'t>(topic: &'t str, root: &str) -> Topic<'t> {
    if topic.starts_with("spBv1.0/") {
        return Topic::SparkplugB;
    }
    let Some(below) = topic.strip_prefix(root).and_then(|rest| rest.strip_prefix('/')) else {
        return Topic::Foreign;
    };
    match below.split('/').collect::<Vec<_>>()[..] {
        [machine] if !machine.is_empty() => Topic::Machine(machine),
        [_, "standing"] => Topic::Standing,
        [machine, "event"] => Topic::Event(machine),
        [machine, channel] => Topic::Channel(machine, channel),
        _ => Topic::Odd,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn topics_are_told_apart() {
        for (topic, expected) in [
            ("works/alder", Topic::Machine("alder")),
            ("works/alder/chocolate", Topic::Channel("alder", "chocolate")),
            ("works/alder/event", Topic::Event("alder")),
            ("works/alder/standing", Topic::Standing),
            ("works/alder/chocolate/raw", Topic::Odd),
            ("works/", Topic::Odd),
            ("works", Topic::Foreign),
            ("workshop/alder", Topic::Foreign),
            ("spBv1.0/hall/DDATA/edge/alder", Topic::SparkplugB),
        ] {
            assert_eq!(parse(topic, "works"), expected, "{topic}");
        }
        assert_eq!(parse("site/2/alder", "site/2"), Topic::Machine("alder"));
    }
}
