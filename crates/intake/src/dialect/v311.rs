//! MQTT 3.1.1 in the words of [`dialect`](super).

#![expect(
    clippy::wildcard_enum_match_arm,
    reason = "these enums are the library's and grow with its features; ours are matched in full"
)]

use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, MqttOptions, NetworkOptions, Outgoing,
    Packet as Incoming, Publish, QoS, StateError, SubscribeFilter, SubscribeReasonCode,
};

use super::{
    CONNECT_TIMEOUT_SECS, Delivery, Failure, Grant, KEEP_ALIVE, LARGEST_PACKET_OF_ALL, LoopEnded, Packet,
    PacketId, Purpose, REQUESTS, Settings, Stage, chain, tls_trouble,
};

/// We publish nothing on a subscribing connection; the library sets aside a slot for each message it might have to repeat.
const SUBSCRIBER_IN_FLIGHT: u16 = 16;

pub(crate) struct Connection {
    event_loop: EventLoop,
    stage: Stage,
    over_tls: bool,
}

pub(super) fn open(settings: &Settings) -> (AsyncClient, Connection) {
    let mut options = MqttOptions::new(&settings.client_id, settings.broker.host(), settings.broker.port());
    let transport = settings.broker.transport();
    let over_tls = !matches!(transport, rumqttc::Transport::Tcp);
    options.set_transport(transport);
    options.set_keep_alive(KEEP_ALIVE);
    options.set_max_packet_size(LARGEST_PACKET_OF_ALL, LARGEST_PACKET_OF_ALL);
    if let Some(credentials) = &settings.credentials {
        options.set_credentials(&credentials.user, &credentials.password);
    }
    match settings.purpose {
        Purpose::Subscribe => {
            options.set_clean_session(false).set_manual_acks(true).set_inflight(SUBSCRIBER_IN_FLIGHT);
        }
        Purpose::Publish { in_flight } => {
            options.set_clean_session(true).set_inflight(in_flight);
        }
    }
    let (client, mut event_loop) = AsyncClient::new(options, REQUESTS);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    network.set_connection_timeout(CONNECT_TIMEOUT_SECS);
    event_loop.set_network_options(network);
    (client, Connection { event_loop, stage: Stage::Knocking, over_tls })
}

pub(super) fn try_subscribe(client: &AsyncClient, filters: &[String]) -> Result<(), LoopEnded> {
    let filters = filters.iter().map(|path| SubscribeFilter::new(path.clone(), QoS::AtLeastOnce));
    client.try_subscribe_many(filters).map_err(|_| LoopEnded)
}

/// A message that is nothing but its packet id: all that an acknowledgement needs.
pub(super) fn named(packet_id: PacketId) -> Publish {
    let mut publish = Publish::new("", QoS::AtLeastOnce, Vec::new());
    publish.pkid = packet_id.0;
    publish
}

impl Connection {
    pub(super) async fn poll(&mut self) -> Result<Packet, Failure> {
        match self.event_loop.poll().await {
            Ok(event) => {
                let packet = translate(event);
                if matches!(packet, Packet::Connected { .. }) {
                    self.stage = Stage::Open;
                }
                Ok(packet)
            }
            Err(error) => Err(explain(&error, self.stage, self.over_tls)),
        }
    }
}

fn translate(event: Event) -> Packet {
    match event {
        Event::Incoming(Incoming::ConnAck(ack)) => Packet::Connected { session_present: ack.session_present },
        Event::Incoming(Incoming::SubAck(ack)) => {
            Packet::Subscribed(ack.return_codes.iter().map(grant).collect())
        }
        Event::Incoming(Incoming::Publish(publish)) => Packet::Delivered(Delivery {
            payload: publish.payload.to_vec(),
            retained: publish.retain,
            again: publish.dup,
            packet_id: (publish.qos != QoS::AtMostOnce).then_some(PacketId(publish.pkid)),
            topic: Ok(publish.topic),
        }),
        Event::Incoming(Incoming::PubAck(_)) => Packet::PublishAcknowledged { refused: None },
        Event::Outgoing(Outgoing::PubAck(_)) => Packet::AcknowledgementWritten,
        Event::Outgoing(Outgoing::Disconnect) => Packet::FarewellWritten,
        Event::Incoming(_) | Event::Outgoing(_) => Packet::Other,
    }
}

fn grant(code: &SubscribeReasonCode) -> Grant {
    match code {
        SubscribeReasonCode::Success(QoS::AtLeastOnce | QoS::ExactlyOnce) => Grant::Granted,
        SubscribeReasonCode::Success(QoS::AtMostOnce) => Grant::AtMostOnce,
        SubscribeReasonCode::Failure => Grant::Refused("Failure".to_owned()),
    }
}

fn explain(error: &ConnectionError, stage: Stage, over_tls: bool) -> Failure {
    if stage == Stage::Open {
        return Failure::Broken(broken(error));
    }
    match error {
        ConnectionError::ConnectionRefused(ConnectReturnCode::RefusedProtocolVersion) => {
            Failure::VersionRefused
        }
        ConnectionError::ConnectionRefused(
            code @ (ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized),
        ) => Failure::LoginRefused(format!("{code:?}")),
        ConnectionError::ConnectionRefused(code) => Failure::Refused(format!("{code:?}")),
        ConnectionError::Io(error) => {
            tls_trouble(error, over_tls).unwrap_or_else(|| Failure::Unreachable(chain(error)))
        }
        ConnectionError::Tls(rumqttc::TlsError::DNSName(_)) => {
            Failure::NotTrusted("the host in `url` is not a name that a certificate can be for".to_owned())
        }
        ConnectionError::Tls(error) => {
            tls_trouble(error, over_tls).unwrap_or_else(|| Failure::NotTrusted(chain(error)))
        }
        ConnectionError::NetworkTimeout => Failure::NotUnderstood("no answer in time".to_owned()),
        other => tls_trouble(other, over_tls).unwrap_or_else(|| Failure::NotUnderstood(broken(other))),
    }
}

fn broken(error: &ConnectionError) -> String {
    match error {
        ConnectionError::MqttState(StateError::ConnectionAborted) => "the broker closed it".to_owned(),
        ConnectionError::MqttState(StateError::AwaitPingResp) => "no sign of life from the broker".to_owned(),
        other => chain(other),
    }
}
