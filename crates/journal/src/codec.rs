//! A block as bytes, and back.
//!
//! ```text
//! payload: version u8 (1) | crc32 u32 LE over the body | body
//! body:    postcard of BlockDto: column by column, a machine named once, times as differences, values as thousandths
//! ```
//! A group of readings shares machines and is close in time, so differences fit one or two bytes where plain arrivals
//! need some forty. A value that is not a whole number of thousandths keeps its 64 bits: the journal rounds nothing.
//! An unknown version is refused; a wrong checksum is told apart from it.

use std::collections::HashMap;

use model::{Arrival, Channel, Content, Event, MachineId, Reading, Span, Timestamp};
use serde::{Deserialize, Serialize};

const VERSION: u8 = 1;
/// Version and checksum.
const HEAD_BYTES: usize = 5;

/// An entry's head: the channel's place in the lowest three bits, then what follows, then the retained flag.
const CHANNEL_BITS: u8 = 0b0000_0111;
const KIND_BITS: u8 = 0b0001_1000;
const MISSING: u8 = 0b0000_0000;
const THOUSANDTHS: u8 = 0b0000_1000;
const EXACT: u8 = 0b0001_0000;
const EVENT: u8 = 0b0001_1000;
const RETAINED: u8 = 0b0010_0000;

/// Largest count of thousandths that is kept as such; far beyond any channel, and exact in 64-bit floats.
const MOST_THOUSANDTHS: f64 = 1e12;

/// The arrivals of a block, column by column. `heads` has one entry an arrival; the others are taken from as it asks.
#[derive(Default, Serialize, Deserialize)]
struct BlockDto {
    machines: Vec<MachineId>,
    heads: Vec<u8>,
    since_previous: Vec<Span>,
    machine_places: Vec<u32>,
    ages: Vec<Span>,
    thousandths: Vec<i64>,
    exact: Vec<f64>,
    events: Vec<Event>,
}

/// The bytes of a block.
pub(crate) fn encode(arrivals: &[Arrival]) -> Result<Vec<u8>, postcard::Error> {
    let mut head = vec![0; HEAD_BYTES];
    head[0] = VERSION;
    let mut payload = postcard::to_extend(&to_columns(arrivals), head)?;
    let checksum = crc32fast::hash(&payload[HEAD_BYTES..]);
    payload[1..HEAD_BYTES].copy_from_slice(&checksum.to_le_bytes());
    Ok(payload)
}

/// Is the block as it was written? Far quicker than reading it.
pub(crate) fn check(payload: &[u8]) -> Result<(), String> {
    checked_body(payload).map(drop)
}

/// The arrivals of a block, or in words why it cannot be read.
pub(crate) fn decode(payload: &[u8]) -> Result<Vec<Arrival>, String> {
    let body = checked_body(payload)?;
    let columns: BlockDto =
        postcard::from_bytes(body).map_err(|error| format!("its columns cannot be read ({error})"))?;
    from_columns(columns).ok_or_else(|| "its columns do not fit together".to_owned())
}

fn checked_body(payload: &[u8]) -> Result<&[u8], String> {
    let Some((&[version, ref checksum @ ..], body)) = payload.split_first_chunk::<HEAD_BYTES>() else {
        return Err(format!("it holds only {} bytes", payload.len()));
    };
    if version != VERSION {
        return Err(format!("it has format {version}, and this version reads {VERSION}"));
    }
    if crc32fast::hash(body) != u32::from_le_bytes(*checksum) {
        return Err("its checksum is wrong".to_owned());
    }
    Ok(body)
}

fn to_columns(arrivals: &[Arrival]) -> BlockDto {
    let mut columns = BlockDto::default();
    let mut places: HashMap<&MachineId, u32> = HashMap::new();
    let mut previous = Timestamp::default();
    for arrival in arrivals {
        columns.since_previous.push(arrival.arrived - previous);
        previous = arrival.arrived;
        let retained = if arrival.retained { RETAINED } else { 0 };
        let kind = match &arrival.content {
            Content::Event(event) => {
                columns.events.push(event.clone());
                EVENT
            }
            Content::Reading(reading) => {
                let place = *places.entry(&reading.machine).or_insert_with(|| {
                    columns.machines.push(reading.machine.clone());
                    columns.machines.len() as u32 - 1
                });
                columns.machine_places.push(place);
                columns.ages.push(arrival.arrived - reading.at);
                reading.channel.index() as u8 | push_value(&mut columns, reading.value)
            }
        };
        columns.heads.push(kind | retained);
    }
    columns
}

/// Writes a value where it takes the least room, and says where that was.
fn push_value(columns: &mut BlockDto, value: Option<f64>) -> u8 {
    let Some(value) = value else { return MISSING };
    let thousandths = (value * 1000.0).round();
    if thousandths.abs() <= MOST_THOUSANDTHS && (thousandths / 1000.0).to_bits() == value.to_bits() {
        columns.thousandths.push(thousandths as i64);
        THOUSANDTHS
    } else {
        columns.exact.push(value);
        EXACT
    }
}

/// `None` if a column ends too early or a place points nowhere.
fn from_columns(columns: BlockDto) -> Option<Vec<Arrival>> {
    let BlockDto { machines, heads, since_previous, machine_places, ages, thousandths, exact, events } =
        columns;
    let mut since_previous = since_previous.into_iter();
    let mut machine_places = machine_places.into_iter();
    let mut ages = ages.into_iter();
    let mut thousandths = thousandths.into_iter();
    let mut exact = exact.into_iter();
    let mut events = events.into_iter();
    let mut arrived = Timestamp::default();
    let mut arrivals = Vec::with_capacity(heads.len());
    for head in heads {
        arrived += since_previous.next()?;
        let value = match head & KIND_BITS {
            MISSING => None,
            THOUSANDTHS => Some(thousandths.next()? as f64 / 1000.0),
            EXACT => Some(exact.next()?),
            _event => {
                let content = Content::Event(events.next()?);
                arrivals.push(Arrival { arrived, retained: head & RETAINED != 0, content });
                continue;
            }
        };
        let machine = machines.get(machine_places.next()? as usize)?.clone();
        let channel = *Channel::ALL.get(usize::from(head & CHANNEL_BITS))?;
        let reading = Reading { machine, channel, at: arrived - ages.next()?, value };
        arrivals.push(Arrival {
            arrived,
            retained: head & RETAINED != 0,
            content: Content::Reading(reading),
        });
    }
    Some(arrivals)
}

#[cfg(test)]
mod tests {
    use expect_test::expect;
    use model::EventKind;
    use proptest::prelude::*;

    use super::*;

    fn reading(machine: &str, channel: Channel, at: i64, value: Option<f64>) -> Content {
        Content::Reading(Reading {
            machine: machine.parse().unwrap(),
            channel,
            at: Timestamp::from_millis(at),
            value,
        })
    }

    fn note(machine: &str, at: i64, text: String) -> Content {
        Content::Event(Event {
            machine: machine.parse().unwrap(),
            at: Timestamp::from_millis(at),
            by: Some("ana".to_owned()),
            kind: EventKind::Note { text },
            raw: r#"{"event":"note"}"#.to_owned(),
        })
    }

    fn arrival(arrived: i64, retained: bool, content: Content) -> Arrival {
        Arrival { arrived: Timestamp::from_millis(arrived), retained, content }
    }

    fn any_value() -> impl Strategy<Value = Option<f64>> {
        prop_oneof![
            (-20_000i32..20_000).prop_map(|hundredths| Some(f64::from(hundredths) / 100.0)),
            any::<f64>().prop_map(|value| value.is_finite().then_some(value)),
            Just(Some(-0.0)),
        ]
    }

    fn any_content() -> impl Strategy<Value = Content> {
        let machine = prop_oneof![Just("alder"), Just("birch"), Just("cedar-2")];
        let time = -1_000_000_000_000i64..5_000_000_000_000;
        prop_oneof![
            9 => (machine.clone(), 0..Channel::ALL.len(), time.clone(), any_value())
                .prop_map(|(machine, place, at, value)| reading(machine, Channel::ALL[place], at, value)),
            1 => (machine, time, ".{0,20}").prop_map(|(machine, at, text)| note(machine, at, text)),
        ]
    }

    proptest! {
        #[test]
        fn what_goes_in_comes_out(
            arrivals in proptest::collection::vec(
                (0i64..4_000_000_000_000, any::<bool>(), any_content())
                    .prop_map(|(arrived, retained, content)| arrival(arrived, retained, content)),
                0..60,
            )
        ) {
            prop_assert_eq!(decode(&encode(&arrivals).unwrap()).unwrap(), arrivals);
        }

        #[test]
        fn no_flipped_bit_goes_unseen(place in 0usize..60, bit in 0u8..8) {
            let mut payload = encode(&[arrival(5, false, reading("alder", Channel::Room, 4, Some(31.24)))]).unwrap();
            let place = place % payload.len();
            payload[place] ^= 1 << bit;
            prop_assert!(decode(&payload).is_err());
        }

        #[test]
        fn nonsense_with_a_right_checksum_is_refused_or_read_but_never_panics(body in any::<Vec<u8>>()) {
            let mut payload = vec![VERSION];
            payload.extend(crc32fast::hash(&body).to_le_bytes());
            payload.extend(body);
            let _ = decode(&payload);
        }
    }

    /// A format, once released, stays: these bytes must read for good.
    #[test]
    fn version_1_reads_as_it_was_written() {
        let arrivals = [
            arrival(
                1_772_427_600_000,
                false,
                reading("alder", Channel::Chocolate, 1_772_427_599_880, Some(45.02)),
            ),
            arrival(
                1_772_427_600_010,
                true,
                reading("birch", Channel::Humidity, 1_772_427_600_010, Some(0.1234)),
            ),
            arrival(1_772_427_600_020, false, reading("alder", Channel::Motor, 1_772_427_600_000, None)),
            arrival(1_772_427_600_020, false, note("alder", 1_772_427_600_000, "lid off".to_owned())),
        ];
        let payload = encode(&arrivals).unwrap();
        let text: String = payload.iter().map(|byte| format!("{byte:02x}")).collect();
        expect!["0145130e9f0205616c6465720562697263680408330618048082d7ce95671414000300010003f001002801b8bf0501f38e53742497bf3f0105616c6465728082d7ce95670103616e6105076c6964206f6666107b226576656e74223a226e6f7465227d"].assert_eq(&text);
        assert_eq!(decode(&payload).unwrap(), arrivals);
    }

    #[test]
    fn what_cannot_be_read_says_why() {
        assert_eq!(decode(&[1, 2]).unwrap_err(), "it holds only 2 bytes");
        assert_eq!(decode(&[9, 0, 0, 0, 0]).unwrap_err(), "it has format 9, and this version reads 1");
        assert_eq!(decode(&[1, 1, 0, 0, 0]).unwrap_err(), "its checksum is wrong");
    }
}
