//! A broker that does as it is told, byte by byte, for what no real broker does on demand. Packets are written as in
//! the OASIS standards MQTT 3.1.1 and 5.0.

use std::time::Duration;

use intake::BrokerAddress;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::timeout;

const PATIENCE: Duration = Duration::from_secs(10);

/// Packet types, in the upper half of the first byte.
pub(crate) const CONNECT: u8 = 1;
pub(crate) const PUBACK: u8 = 4;
pub(crate) const SUBSCRIBE: u8 = 8;
pub(crate) const DISCONNECT: u8 = 14;

pub(crate) struct Scripted {
    listener: TcpListener,
}

/// One client's connection.
pub(crate) struct Peer {
    stream: TcpStream,
}

/// A packet of the client's.
pub(crate) struct Packet {
    pub(crate) kind: u8,
    pub(crate) body: Vec<u8>,
}

impl Packet {
    pub(crate) fn packet_id(&self) -> u16 {
        u16::from_be_bytes([self.body[0], self.body[1]])
    }

    /// The protocol level of a CONNECT: 4 is 3.1.1, 5 is 5.0.
    pub(crate) fn level(&self) -> u8 {
        self.body[6]
    }
}

impl Scripted {
    pub(crate) async fn start() -> (Scripted, BrokerAddress) {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        (Scripted { listener }, BrokerAddress::new("127.0.0.1", port))
    }

    pub(crate) async fn accept(&self) -> Peer {
        let (stream, _) = timeout(PATIENCE, self.listener.accept()).await.expect("a client comes").unwrap();
        Peer { stream }
    }

    /// Accepts, lets the client in and grants its subscription at QoS 1, over 5.0.
    pub(crate) async fn welcome(&self, session_present: bool) -> Peer {
        let mut peer = self.accept().await;
        let connect = peer.expect(CONNECT).await;
        assert_eq!(connect.level(), 5);
        peer.send(&[0x20, 3, u8::from(session_present), 0, 0]).await;
        let subscribe = peer.expect(SUBSCRIBE).await;
        peer.grant(&subscribe, 1).await;
        peer
    }
}

impl Peer {
    pub(crate) async fn send(&mut self, bytes: &[u8]) {
        self.stream.write_all(bytes).await.unwrap();
    }

    /// The client's next packet other than a ping, which must be of this kind.
    pub(crate) async fn expect(&mut self, kind: u8) -> Packet {
        const PINGREQ: u8 = 12;
        loop {
            let packet = timeout(PATIENCE, self.read()).await.expect("the client sends something");
            if packet.kind != PINGREQ {
                assert_eq!(packet.kind, kind);
                return packet;
            }
        }
    }

    /// Answers every filter of a 5.0 SUBSCRIBE with `code`.
    pub(crate) async fn grant(&mut self, subscribe: &Packet, code: u8) {
        let filters = count_filters(&subscribe.body);
        let [high, low] = subscribe.packet_id().to_be_bytes();
        let mut suback = vec![0x90, 3 + filters, high, low, 0];
        suback.extend(std::iter::repeat_n(code, usize::from(filters)));
        self.send(&suback).await;
    }

    /// Delivers a 5.0 PUBLISH at QoS 1.
    pub(crate) async fn deliver(&mut self, topic: &[u8], packet_id: u16, payload: &[u8]) {
        self.publish(0x32, topic, packet_id, payload).await;
    }

    /// The same with the DUP flag set.
    pub(crate) async fn deliver_again(&mut self, topic: &[u8], packet_id: u16, payload: &[u8]) {
        self.publish(0x3a, topic, packet_id, payload).await;
    }

    async fn publish(&mut self, head: u8, topic: &[u8], packet_id: u16, payload: &[u8]) {
        let mut body = (topic.len() as u16).to_be_bytes().to_vec();
        body.extend(topic);
        body.extend(packet_id.to_be_bytes());
        body.push(0);
        body.extend(payload);
        assert!(body.len() < 128, "one byte of remaining length");
        let mut packet = vec![head, body.len() as u8];
        packet.extend(body);
        self.send(&packet).await;
    }

    async fn read(&mut self) -> Packet {
        let first = self.stream.read_u8().await.unwrap();
        let (mut length, mut shift) = (0_usize, 0);
        loop {
            let byte = self.stream.read_u8().await.unwrap();
            length |= usize::from(byte & 0x7f) << shift;
            shift += 7;
            if byte & 0x80 == 0 {
                break;
            }
        }
        let mut body = vec![0; length];
        self.stream.read_exact(&mut body).await.unwrap();
        Packet { kind: first >> 4, body }
    }
}

/// Packet id, an empty property length, then for each filter its length, its text and its options.
fn count_filters(body: &[u8]) -> u8 {
    let (mut place, mut filters) = (3, 0);
    while place < body.len() {
        place += 2 + usize::from(u16::from_be_bytes([body[place], body[place + 1]])) + 1;
        filters += 1;
    }
    filters
}
