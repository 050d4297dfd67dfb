//! Topics of Sparkplug B: `spBv1.0/<group>/<type>/<edge node>[/<device>]` (specification 3.0.0, chapter 4).

/// Which edge node, and of which group.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NodeName<'t> {
    pub(crate) group: &'t str,
    pub(crate) node: &'t str,
}

impl NodeName<'_> {
    /// Both together, as nothing else is written: neither part holds a slash.
    pub(crate) fn key(self) -> String {
        format!("{}/{}", self.group, self.node)
    }
}

/// What a message says about its node or device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// What there is, and its present values.
    Birth,
    /// What has changed.
    Data,
    /// It is gone.
    Death,
}

/// A topic under `spBv1.0/`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Topic<'t> {
    /// From an edge node about itself.
    Node(Kind, NodeName<'t>),
    /// From an edge node about a device behind it.
    Device(Kind, NodeName<'t>, &'t str),
    /// Commands, which are not for us, and the state of hosts, which we are none of: left alone.
    NotForUs,
}

/// # Errors
/// A plain sentence if there is no such topic in the specification.
pub(crate) fn parse(topic: &str) -> Result<Topic<'_>, String> {
    let parts: Vec<&str> = topic.splitn(6, '/').skip(1).collect();
    if parts.iter().any(|part| part.is_empty() || part.contains(['+', '#'])) {
        return Err("a part of this Sparkplug B topic is empty or holds `+` or `#`".into());
    }
    match parts[..] {
        ["STATE", _host] => Ok(Topic::NotForUs),
        [group, kind, node] => node_topic(kind, NodeName { group, node }),
        [group, kind, node, device] => device_topic(kind, NodeName { group, node }, device),
        _ => Err("a Sparkplug B topic is spBv1.0/<group>/<type>/<edge node> or, of a device, \
                  spBv1.0/<group>/<type>/<edge node>/<device>"
            .into()),
    }
}

fn node_topic<'t>(kind: &str, name: NodeName<'t>) -> Result<Topic<'t>, String> {
    match kind {
        "NBIRTH" => Ok(Topic::Node(Kind::Birth, name)),
        "NDATA" => Ok(Topic::Node(Kind::Data, name)),
        "NDEATH" => Ok(Topic::Node(Kind::Death, name)),
        "NCMD" => Ok(Topic::NotForUs),
        "DBIRTH" | "DDATA" | "DDEATH" | "DCMD" => {
            Err(format!("a {kind} is about a device, and its topic ends with the device's name"))
        }
        _ => Err(unknown(kind)),
    }
}

fn device_topic<'t>(kind: &str, name: NodeName<'t>, device: &'t str) -> Result<Topic<'t>, String> {
    match kind {
        "DBIRTH" => Ok(Topic::Device(Kind::Birth, name, device)),
        "DDATA" => Ok(Topic::Device(Kind::Data, name, device)),
        "DDEATH" => Ok(Topic::Device(Kind::Death, name, device)),
        "DCMD" => Ok(Topic::NotForUs),
        "NBIRTH" | "NDATA" | "NDEATH" | "NCMD" => {
            Err(format!("a {kind} is about an edge node, and its topic ends with the edge node's name"))
        }
        _ => Err(unknown(kind)),
    }
}

fn unknown(kind: &str) -> String {
    let shown: String = kind.chars().take(40).collect();
    format!(
        "`{shown}` is not a type of Sparkplug B message; those read here are NBIRTH, NDATA, NDEATH, DBIRTH, DDATA and DDEATH"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sparkplug::vectors;

    #[test]
    fn topics_of_the_specification_are_told_apart() {
        for case in vectors::list("topic") {
            let topic = vectors::text(&case, "topic");
            // The other namespace and the older form are not under ours, and do not come here.
            if topic.starts_with("spBv1.0/") {
                assert_eq!(parse(topic).is_ok(), case["valid"].as_bool().unwrap(), "{topic}");
            }
        }
        let name = NodeName { group: "G1", node: "E1" };
        assert_eq!(parse("spBv1.0/G1/NDATA/E1"), Ok(Topic::Node(Kind::Data, name)));
        assert_eq!(parse("spBv1.0/G1/DDEATH/E1/D1"), Ok(Topic::Device(Kind::Death, name, "D1")));
        assert_eq!(parse("spBv1.0/STATE/host1"), Ok(Topic::NotForUs));
        assert_eq!(parse("spBv1.0/G1/NCMD/E1"), Ok(Topic::NotForUs));
    }

    #[test]
    fn what_is_no_topic_is_told() {
        for (topic, says) in [
            ("spBv1.0/G1/DDATA/E1", "a DDATA is about a device, and its topic ends with the device's name"),
            ("spBv1.0/G1//E1", "a part of this Sparkplug B topic is empty or holds `+` or `#`"),
            ("spBv1.0/G1/DDATA/+/D1", "a part of this Sparkplug B topic is empty or holds `+` or `#`"),
        ] {
            assert_eq!(parse(topic), Err(says.into()));
        }
    }
}
