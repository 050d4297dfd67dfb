//! Sparkplug B (Eclipse Sparkplug Specification 3.0.0): a device is a machine, a metric's name says the channel.
//!
//! Data mostly carry aliases, which mean nothing without the births that came before, so this is the one format for which
//! the decoder has a memory:
//!
//! - An edge node's births begin a session; data are read by the births of their own device (chapter 5, "Device Session
//!   Establishment"). A metric that names itself, in a float or with its datatype, is read as it stands.
//! - Data that lean on a birth that is not known, or in doubt after a gap in the sequence, **wait**, bounded in number,
//!   bytes and time, and the node is asked for a rebirth (chapter 5, "Sparkplug Host Application Message Ordering", with no
//!   timeout before asking: brokers keep the order, and a rebirth costs one message). With the birth they come out, dated
//!   as they were measured and arrived when they could be read. What waits in vain is rejected with the reason.
//! - Births are not kept over a restart. Edge nodes send at QoS 0, for which a broker keeps nothing, so nobody could say
//!   whether a birth was missed meanwhile; a remembered alias may mean another channel by now, and a reading on the wrong
//!   channel is worse than one that comes a second late. What waits is kept over a restart by whoever acknowledges it, and
//!   goes on waiting after it, no longer than it would have: what it is read by is the next birth of its device, as ever, and a node
//!   that was set up anew within those minutes may mean something else by an alias.
//! - A death invents no reading (chapter 5 calls the metrics stale then): what no longer comes makes the machine `silent`.
//! - Hosts' state and commands to others are left alone. We send one command, the rebirth request, and only to nodes
//!   that have a machine of ours behind them.
//!
//! Never waits itself, never sends, never reads a clock.

mod birth;
mod datatype;
mod metric;
mod node;
mod payload;
mod rebirth;
mod sequence;
mod strangers;
mod topic;

#[cfg(test)]
mod tests;
#[cfg(test)]
mod vectors;

use std::collections::{HashMap, VecDeque};

use model::{Span, Timestamp};

use crate::decoder::Desk;
use crate::sparkplug::birth::{Birth, leans_on_birth, not_channels};
use crate::sparkplug::metric::{Aliases, Source};
use crate::sparkplug::node::{Counted, Node};
use crate::sparkplug::payload::Payload;
use crate::sparkplug::strangers::Strangers;
use crate::sparkplug::topic::{Kind, NodeName, Topic};
use crate::waiting::{Held, Wanted};
use crate::{Message, Reject};

/// Messages of nodes and of devices. Hosts' state is not among them.
pub(crate) const SUBSCRIPTIONS: [&str; 2] = ["spBv1.0/+/+/+", "spBv1.0/+/+/+/+"];

/// More edge nodes than any broker of one site has.
const MOST_NODES: usize = 10_000;
/// How long births are in doubt after a gap: a rebirth is answered by then, and what waited still comes within the
/// usual lateness allowance of 15 s (contract, section 6).
const LONGEST_DOUBT: Span = Span::from_secs(10);

/// What Sparkplug B has said so far.
#[derive(Debug, Default)]
pub(crate) struct Host {
    nodes: HashMap<String, Node>,
    strangers: Strangers,
    /// Nodes in doubt and since when, oldest first, one entry a node; a doubt that has ended by itself may stand here.
    doubts: VecDeque<(Timestamp, String)>,
    newest: Timestamp,
}

impl Host {
    /// The newest moment that it was told of.
    pub(crate) fn newest(&self) -> Timestamp {
        self.newest
    }

    /// Are births in doubt, which settles by itself when time passes?
    pub(crate) fn is_in_doubt(&self) -> bool {
        !self.doubts.is_empty()
    }

    /// Takes one message of `spBv1.0/…`.
    ///
    /// # Errors
    /// A plain sentence if nothing of it can be used.
    pub(crate) fn take(&mut self, message: &Message, desk: &mut Desk<'_>) -> Result<(), String> {
        let topic = topic::parse(&message.topic)?;
        let name = match topic {
            Topic::NotForUs => return Ok(()),
            Topic::Node(_, name) | Topic::Device(_, name, _) => name,
        };
        let payload = Payload::parse(&message.payload)?;
        let key = name.key();
        if !self.nodes.contains_key(&key) && self.nodes.len() == MOST_NODES {
            return Err(format!("more than {MOST_NODES} edge nodes have been seen; this one is not read"));
        }
        match topic {
            Topic::Device(kind, _, device) if message.retained => {
                return self.take_kept(kind, &key, device, &payload, message, desk);
            }
            Topic::Node(kind, _) if !message.retained => self.take_node(kind, &key, &payload, message, desk),
            Topic::Device(kind, _, device) => {
                self.take_device(kind, &key, device, &payload, message, desk)?;
            }
            Topic::Node(..) | Topic::NotForUs => return Ok(()),
        }
        self.ask(name, &key, message.arrived, desk);
        Ok(())
    }

    fn ask(&mut self, name: NodeName<'_>, key: &str, now: Timestamp, desk: &mut Desk<'_>) {
        let request = self.nodes.get_mut(key).and_then(|node| node.rebirth.request(name, now));
        desk.decoded.requests.extend(request);
    }

    fn node(&mut self, key: &str) -> &mut Node {
        self.nodes.entry(key.to_owned()).or_default()
    }

    /// A node's own metrics are no machine's; its births, deaths and count are what matters.
    fn take_node(
        &mut self,
        kind: Kind,
        key: &str,
        payload: &Payload,
        message: &Message,
        desk: &mut Desk<'_>,
    ) {
        match kind {
            Kind::Birth => self.node(key).begin(payload.bd_seq(), payload.seq),
            Kind::Data => self.count(key, payload, message.arrived, desk),
            Kind::Death if self.node(key).is_ended_by(payload.bd_seq()) => {
                self.release_known(key, None, message.arrived, desk);
                self.node(key).end();
            }
            Kind::Death => {}
        }
    }

    fn take_device(
        &mut self,
        kind: Kind,
        key: &str,
        device: &str,
        payload: &Payload,
        message: &Message,
        desk: &mut Desk<'_>,
    ) -> Result<(), String> {
        let found = desk.machines.find(device);
        if found.is_ok() {
            self.node(key).note_ours();
        }
        self.count(key, payload, message.arrived, desk);
        if let Err(reason) = found {
            return match self.strangers.is_to_be_told(key, device, kind) {
                true => Err(reason),
                false => Ok(()),
            };
        }
        match kind {
            Kind::Birth => self.take_birth(key, device, payload, message, desk),
            Kind::Data => self.take_data(key, device, payload, message, desk),
            Kind::Death => {
                self.release_known(key, Some(device), message.arrived, desk);
                self.node(key).forget(device);
                Ok(())
            }
        }
    }

    fn count(&mut self, key: &str, payload: &Payload, arrived: Timestamp, desk: &mut Desk<'_>) {
        match self.node(key).count(payload.seq, arrived) {
            Counted::AsBefore => {}
            Counted::DoubtBegins => {
                self.doubts.retain(|(_, other)| other != key);
                self.doubts.push_back((arrived, key.to_owned()));
            }
            Counted::DoubtEnds => self.release_sure(key, arrived, desk),
        }
    }

    fn take_birth(
        &mut self,
        key: &str,
        device: &str,
        payload: &Payload,
        message: &Message,
        desk: &mut Desk<'_>,
    ) -> Result<(), String> {
        let (birth, others) = Birth::learn(payload);
        self.node(key).learn(device, birth, payload.seq);
        if !others.is_empty() {
            desk.readings_of(device, message)?.reject(not_channels(&others));
        }
        // What waited is older than what the birth says.
        self.release_sure(key, message.arrived, desk);
        self.read(key, device, payload, message, message.arrived, desk)
    }

    fn take_data(
        &mut self,
        key: &str,
        device: &str,
        payload: &Payload,
        message: &Message,
        desk: &mut Desk<'_>,
    ) -> Result<(), String> {
        let is_sure = self.node(key).is_sure_of(device);
        if !is_sure {
            self.node(key).rebirth.want();
        }
        let leans = payload.metrics().flatten().any(|metric| leans_on_birth(&metric));
        if leans && !is_sure {
            return desk.hold(Wanted::Birth { node: key.to_owned(), device: device.to_owned() }, message);
        }
        self.read(key, device, payload, message, message.arrived, desk)
    }

    /// Reads the payload of a device of ours; `measured` is its moment where it has none of its own.
    fn read(
        &mut self,
        key: &str,
        device: &str,
        payload: &Payload,
        message: &Message,
        measured: Timestamp,
        desk: &mut Desk<'_>,
    ) -> Result<(), String> {
        let node = self.nodes.entry(key.to_owned()).or_default();
        let source = Source { device, payload, birth: node.birth(device), arrived: Some(measured) };
        if source.read(&mut desk.readings_of(device, message)?) == Aliases::Unknown {
            node.rebirth.want();
        }
        Ok(())
    }

    /// A message that the broker kept from earlier, which none may be (chapter 5: retain is false), says nothing about the
    /// present session. Values with a moment of their own are readings all the same (contract, section 2).
    fn take_kept(
        &self,
        kind: Kind,
        key: &str,
        device: &str,
        payload: &Payload,
        message: &Message,
        desk: &mut Desk<'_>,
    ) -> Result<(), String> {
        if kind == Kind::Death {
            return Ok(());
        }
        let own = (kind == Kind::Birth).then(|| Birth::learn(payload).0);
        let known = self.nodes.get(key).and_then(|node| node.birth(device));
        let source = Source { device, payload, birth: own.as_ref().or(known), arrived: None };
        source.read(&mut desk.readings_of(device, message)?);
        Ok(())
    }

    /// Reads what waited for births that are known now and beyond doubt.
    fn release_sure(&mut self, key: &str, now: Timestamp, desk: &mut Desk<'_>) {
        let Some(node) = self.nodes.get(key) else { return };
        let released =
            desk.waiting.take(|held| device_behind(held, key).is_some_and(|device| node.is_sure_of(device)));
        self.read_held(released, now, desk);
    }

    /// Reads what waits by the births that are known, in doubt or not: they are about to be forgotten.
    fn release_known(&mut self, key: &str, device: Option<&str>, now: Timestamp, desk: &mut Desk<'_>) {
        let Some(node) = self.nodes.get(key) else { return };
        let is_meant = |held: &str| device.is_none_or(|device| device == held) && node.birth(held).is_some();
        let released = desk.waiting.take(|held| device_behind(held, key).is_some_and(is_meant));
        self.read_held(released, now, desk);
    }

    fn read_held(&mut self, released: Vec<Held>, now: Timestamp, desk: &mut Desk<'_>) {
        for Held { number, wants, message } in released {
            let Wanted::Birth { node, device } = wants else { continue };
            desk.decoded.let_go.push(number);
            let measured = message.arrived;
            let message = Message { arrived: now, ..message };
            let read = Payload::parse(&message.payload)
                .and_then(|payload| self.read(&node, &device, &payload, &message, measured, desk));
            if let Err(reason) = read {
                desk.decoded.rejects.push(Reject::new(&message, reason));
            }
        }
    }

    /// Ends doubts that have lasted long enough.
    pub(crate) fn pass_time(&mut self, now: Timestamp, desk: &mut Desk<'_>) {
        self.newest = self.newest.max(now);
        while let Some((since, key)) = self.doubts.pop_front_if(|(since, _)| LONGEST_DOUBT <= now - *since) {
            self.node(&key).settle(since);
            self.release_sure(&key, now, desk);
        }
    }

    /// Takes back a message that waited when the process ended. Nothing is known of its node any more, so the node is asked for its
    /// births with the next message that comes from it.
    ///
    /// # Errors
    /// A plain sentence if it will never be read.
    pub(crate) fn restore(
        &mut self,
        number: u64,
        message: &Message,
        desk: &mut Desk<'_>,
    ) -> Result<(), String> {
        let (node, device) = whose(&message.topic)?;
        desk.machines.find(device)?;
        self.node(&node).await_births();
        let wants = Wanted::Birth { node, device: device.to_owned() };
        desk.waiting.put_back(Held { number, wants, message: message.clone() });
        Ok(())
    }

    /// No message comes for now: what only a doubt holds back is read, and the rest goes on waiting.
    pub(crate) fn pause(&mut self, desk: &mut Desk<'_>) {
        let now = self.newest;
        for (since, key) in std::mem::take(&mut self.doubts) {
            self.node(&key).settle(since);
            self.release_sure(&key, now, desk);
        }
    }
}

/// The device of a held message that waits for a birth behind this node.
fn device_behind<'h>(held: &'h Held, key: &str) -> Option<&'h str> {
    match &held.wants {
        Wanted::Birth { node, device } if node == key => Some(device),
        Wanted::Birth { .. } | Wanted::Room(_) => None,
    }
}

/// The node and the device whose data came under this topic.
fn whose(topic: &str) -> Result<(String, &str), String> {
    match topic::parse(topic)? {
        Topic::Device(Kind::Data, name, device) => Ok((name.key(), device)),
        Topic::Device(..) | Topic::Node(..) | Topic::NotForUs => {
            Err("it has waited although it is no data of a device".into())
        }
    }
}
