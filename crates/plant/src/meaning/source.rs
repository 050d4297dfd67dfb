//! What a `[[source]]` means.

use model::{Channel, MachineId};

use crate::fault::{At, Faults};
use crate::meaning::words::{self, Ids};
use crate::raw::RawSource;
use crate::{JsonPointer, JsonTime, JsonValue, Source, TimeFormat, TopicFilter};

/// The sources without a fault.
pub(crate) fn mean_all(
    raw: &[RawSource],
    machine_ids: &Ids,
    root: Option<&str>,
    faults: &mut Faults<'_>,
) -> Vec<Source> {
    raw.iter().filter_map(|raw| mean(raw, machine_ids, root, faults)).collect()
}

fn mean(raw: &RawSource, machine_ids: &Ids, root: Option<&str>, faults: &mut Faults<'_>) -> Option<Source> {
    let filter = mean_filter(raw.filter.as_ref(), root, faults);
    let machine: Option<MachineId> = machine_ids.point(raw.machine.as_ref(), faults);
    let channel = words::one_of(raw.channel.as_ref(), "channel", &Channel::ALL, Channel::as_str, faults);
    let json = mean_json(raw, faults);
    let filter = filter?;
    check_told_once(raw.line, "machine", filter.names_machine(), raw.machine.as_ref(), faults);
    check_told_once(raw.line, "channel", filter.names_channel(), raw.channel.as_ref(), faults);
    Some(Source { filter, machine, channel, json })
}

fn mean_filter(raw: Option<&At<String>>, root: Option<&str>, faults: &mut Faults<'_>) -> Option<TopicFilter> {
    let raw = raw?;
    let filter = TopicFilter::parse(&raw.value).map_err(|says| faults.add(raw.line, says)).ok()?;
    let is_ours = |root: &str| raw.value == root || raw.value.starts_with(&format!("{root}/"));
    if let Some(root) = root.filter(|root| is_ours(root)) {
        let says =
            format!("`{}` lies under the root `{root}`, which is read without a [[source]]", raw.value);
        faults.add(raw.line, says);
        return None;
    }
    Some(filter)
}

/// Machine and channel come from the filter or from a key: from one of them, and not from both.
fn check_told_once(
    line: usize,
    key: &str,
    in_filter: bool,
    raw: Option<&At<String>>,
    faults: &mut Faults<'_>,
) {
    match (in_filter, raw) {
        (true, Some(raw)) => {
            faults.add(
                raw.line,
                format!("the filter has a segment `{{{key}}}`, so `{key}` cannot stand beside it"),
            );
        }
        (false, None) => {
            let says = format!(
                "this [[source]] does not say which {key}: put `{{{key}}}` in its filter, or add `{key} = \"…\"`"
            );
            faults.add(line, says);
        }
        (true, None) | (false, Some(_)) => {}
    }
}

fn mean_json(raw: &RawSource, faults: &mut Faults<'_>) -> Option<JsonValue> {
    let value = pointer(raw.value.as_ref(), faults);
    let time = pointer(raw.time.as_ref(), faults);
    let format =
        words::one_of(raw.time_format.as_ref(), "time format", &TimeFormat::ALL, TimeFormat::as_str, faults);
    if let (None, Some(time)) = (&raw.value, &raw.time) {
        faults.add(time.line, "`time` is for plain JSON and needs `value` beside it, a pointer to the value");
    }
    if let (None, Some(format)) = (&raw.time, &raw.time_format) {
        faults.add(format.line, "`time_format` needs `time` beside it, a pointer to the time");
    }
    let format = format.unwrap_or(TimeFormat::Rfc3339);
    Some(JsonValue { value: value?, time: time.map(|pointer| JsonTime { pointer, format }) })
}

fn pointer(raw: Option<&At<String>>, faults: &mut Faults<'_>) -> Option<JsonPointer> {
    let raw = raw?;
    JsonPointer::parse(&raw.value).map_err(|says| faults.add(raw.line, says)).ok()
}
