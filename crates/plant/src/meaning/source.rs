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
            faults.add_absence(line, says);
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
        faults.add_absence(
            time.line,
            "`time` is for plain JSON and needs `value` beside it, a pointer to the value",
        );
    }
    if let (None, Some(format)) = (&raw.time, &raw.time_format) {
        faults.add_absence(format.line, "`time_format` needs `time` beside it, a pointer to the time");
    }
    let format = format.unwrap_or(TimeFormat::Rfc3339);
    Some(JsonValue { value: value?, time: time.map(|pointer| JsonTime { pointer, format }) })
}

fn pointer(raw: Option<&At<String>>, faults: &mut Faults<'_>) -> Option<JsonPointer> {
    let raw = raw?;
    JsonPointer::parse(&raw.value).map_err(|says| faults.add(raw.line, says)).ok()
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use crate::meaning::tests::{SMALLEST, check_with};
    use crate::{JsonPointer, TimeFormat, parse_plant};

    #[test]
    fn a_source_says_machine_and_channel_once() {
        check_with(
            "[[source]]\nfilter = \"hall/{machine}/temp\"\n",
            expect![[
                r#"line 12: this [[source]] does not say which channel: put `{channel}` in its filter, or add `channel = "…"`"#
            ]],
        );
        check_with(
            "[[source]]\nfilter = \"hall/{channel}\"\nmachine = \"ader\"\nchannel = \"room\"\n",
            expect![[r#"
            line 14: there is no machine `ader`; a [[machine]] with that id is needed; did you mean `alder`?
            line 15: the filter has a segment `{channel}`, so `channel` cannot stand beside it"#]],
        );
        check_with("[[source]]\nvalue = \"/v\"\n", expect!["line 12: `filter` is missing in [[source]]"]);
        check_with("[[source]]\nfilter = \"hall/{machine}/{channel}\"\n", expect!["no fault"]);
    }

    #[test]
    fn filters_are_valid_and_outside_the_root() {
        check_with(
            "[[source]]\nfilter = \"works/{machine}/{channel}\"\n",
            expect![
                "line 13: `works/{machine}/{channel}` lies under the root `works`, which is read without a [[source]]"
            ],
        );
        check_with(
            "[[source]]\nfilter = \"a/#/{machine}/{channel}\"\n",
            expect!["line 13: in `a/#/{machine}/{channel}` the `#` must be the last segment"],
        );
    }

    #[test]
    fn pointers_and_times_fit_together() {
        const HEAD: &str = "[[source]]\nfilter = \"hall/{machine}/{channel}\"\n";
        check_with(
            &format!("{HEAD}value = \"v\"\ntime = \"/t\"\ntime_format = \"unix\"\n"),
            expect![[r#"
            line 14: `v` is not a JSON pointer (RFC 6901); it begins with `/`, such as `/v`
            line 16: `unix` is not a time format (one of rfc3339, unix-s and unix-ms)"#]],
        );
        check_with(
            &format!("{HEAD}time = \"/t\"\n"),
            expect!["line 14: `time` is for plain JSON and needs `value` beside it, a pointer to the value"],
        );
        check_with(
            &format!("{HEAD}value = \"/v\"\ntime_format = \"unix-ms\"\n"),
            expect!["line 15: `time_format` needs `time` beside it, a pointer to the time"],
        );
    }

    #[test]
    fn a_source_for_plain_json() {
        let more = "[[source]]\nfilter = \"hall/oven-3\"\nmachine = \"alder\"\nchannel = \"jacket\"\nvalue = \"/temp/value\"\n\
                    time = \"/at\"\ntime_format = \"unix-ms\"\n";
        let plant = parse_plant(&format!("{SMALLEST}{more}")).unwrap();
        let source = &plant.sources[0];
        let json = source.json.as_ref().unwrap();
        assert_eq!(json.value, JsonPointer::parse("/temp/value").unwrap());
        assert_eq!(json.time.as_ref().unwrap().format, TimeFormat::UnixMillis);
        assert!(source.filter.captured("hall/oven-3").is_some());
    }
}
