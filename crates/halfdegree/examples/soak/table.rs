//! What the run measured, as a page for `tests/bench_results`.

use std::fmt::Write;
use std::time::Duration;

use crate::finish::Stored;
use crate::looker::Seen;
use crate::process::{Usage, load};

/// Everything that was measured.
pub(crate) struct Table<'a> {
    pub(crate) machines: usize,
    pub(crate) took: Duration,
    pub(crate) samples: &'a [(Duration, Usage)],
    pub(crate) load_cpu_seconds: f64,
    pub(crate) published: u64,
    pub(crate) seen: &'a Seen,
    pub(crate) metrics: &'a str,
    pub(crate) folders: &'a [(String, u64)],
    pub(crate) stored: Stored,
}

/// The contract's lateness allowance: the watch goes no further than this behind the newest reading.
const ALLOWANCE_SECONDS: f64 = 15.0;

impl Table<'_> {
    pub(crate) fn text(&self) -> String {
        let mut text = format!(
            "{} machines at 1 Hz × 3 channels, {:.0} s; load of the machine at the end: {}\n\n| what | measured | to reach |\n| --- | --- | --- |\n",
            self.machines,
            self.took.as_secs_f64(),
            load()
        );
        self.usage(&mut text);
        self.intake(&mut text);
        self.findings(&mut text);
        self.pages(&mut text);
        self.store(&mut text);
        for trouble in &self.seen.troubles {
            row(&mut text, "trouble", trouble, "none");
        }
        text
    }

    fn usage(&self, text: &mut String) {
        let (Some(first), Some(last)) = (self.samples.first(), self.samples.last()) else { return };
        let cores = |a: &(Duration, Usage), b: &(Duration, Usage)| {
            (b.1.cpu_seconds - a.1.cpu_seconds) / (b.0 - a.0).as_secs_f64().max(1e-9)
        };
        let minute = self.samples.len().min(12);
        let busiest = self.samples.windows(minute).map(|window| cores(&window[0], &window[window.len() - 1]));
        let worst = busiest.fold(0.0, f64::max);
        row(text, "cores, mean; busiest minute", &format!("{:.2}; {worst:.2}", cores(first, last)), "1");
        let rss = |share: f64| self.samples[((self.samples.len() - 1) as f64 * share) as usize].1.rss_mb;
        let course: Vec<String> =
            [0.1, 0.25, 0.5, 0.75, 1.0].iter().map(|s| format!("{:.0}", rss(*s))).collect();
        row(text, "resident memory at 10, 25, 50, 75, 100 % of the run, MB", &course.join(", "), "flat");
        row(text, "resident memory, peak, MB", &format!("{:.0}", last.1.peak_rss_mb), "600");
        row(text, "threads", &last.1.threads.to_string(), "");
        let own = self.load_cpu_seconds / self.took.as_secs_f64();
        row(text, "cores of the load and the lookers, beside it", &format!("{own:.2}"), "");
    }

    fn intake(&self, text: &mut String) {
        for (name, figure) in [("publish_to_durable", "publish to durable"), ("commit", "commit of a block")]
        {
            let name = format!("halfdegree_{name}_seconds");
            let quantile = |share: f64| match bucket(self.metrics, &name, share) {
                Some(limit) => format!("≤ {:.0} ms", limit * 1000.0),
                None => "?".to_owned(),
            };
            let told = format!("{}; {}; {}", quantile(0.5), quantile(0.99), quantile(0.999));
            row(text, &format!("{figure}: half, 99 %, 99.9 %"), &told, "");
        }
        let lag = value(self.metrics, "halfdegree_lag_seconds").unwrap_or(f64::NAN);
        row(text, "the watch behind what has come, at the end", &format!("{lag:.1} s"), "");
    }

    fn findings(&self, text: &mut String) {
        let (lags, untold) = self.seen.lags();
        row(
            text,
            "faults raised; not told of",
            &format!("{}; {untold}", self.seen.faults.len()),
            "0 not told of",
        );
        for kind in ["scorch", "probe-fault", "silent"] {
            // Silence is told by the clock; everything else waits for what may come late.
            let own = if kind == "silent" { 0.0 } else { ALLOWANCE_SECONDS };
            let of_kind = || lags.iter().filter(|lag| lag.kind == kind);
            let page: Vec<f64> = of_kind().filter_map(|lag| lag.page).map(|lag| lag - own).collect();
            let list: Vec<f64> = of_kind().filter_map(|lag| lag.list).map(|lag| lag - own).collect();
            let what =
                format!("`{kind}` due to seen on the live works page, less {own:.0} s: half, 99 %, worst, n");
            row(text, &what, &spread(page), "2 s");
            row(text, &format!("`{kind}` due to the list of findings, likewise"), &spread(list), "");
        }
    }

    fn pages(&self, text: &mut String) {
        for (path, took) in &self.seen.loads {
            let mut took = took.clone();
            took.sort_by(f64::total_cmp);
            let told = format!("{:.0}; {:.0}", at(&took, 0.5), at(&took, 1.0));
            row(text, &format!("page `{path}`, ms: half, worst"), &told, "");
        }
        let (messages, bytes) = self.seen.live;
        let each = bytes as f64 / messages.max(1) as f64 / 1000.0;
        row(text, "live works page: messages, kB each", &format!("{messages}; {each:.0}"), "");
    }

    fn store(&self, text: &mut String) {
        let Stored { readings, doubled, batches, findings } = self.stored;
        let lost = self.published as i64 - readings as i64;
        let told = format!("{}; {readings}; {lost}; {doubled}", self.published);
        row(text, "messages published; readings in the store; lost; doubled", &told, "0 lost, 0 doubled");
        row(text, "batches and findings on record", &format!("{batches}; {findings}"), "");
        for (name, bytes) in self.folders {
            row(text, &format!("`{name}`, MB"), &format!("{:.1}", *bytes as f64 / 1e6), "");
        }
    }
}

fn row(text: &mut String, what: &str, measured: &str, to_reach: &str) {
    writeln!(text, "| {what} | {measured} | {to_reach} |").expect("a text takes whatever is written to it");
}

fn spread(mut lags: Vec<f64>) -> String {
    if lags.is_empty() {
        return "none seen".to_owned();
    }
    lags.sort_by(f64::total_cmp);
    format!("{:.2}; {:.2}; {:.2} s; {}", at(&lags, 0.5), at(&lags, 0.99), at(&lags, 1.0), lags.len())
}

/// The value below which that share lies, of sorted ones (nearest rank).
fn at(sorted: &[f64], share: f64) -> f64 {
    let rank = (share * sorted.len() as f64).ceil() as usize;
    sorted[rank.clamp(1, sorted.len()) - 1]
}

/// The value of a figure without labels.
pub(crate) fn value(metrics: &str, name: &str) -> Option<f64> {
    metrics.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(' ')?.parse().ok())
}

/// The upper limit of the histogram's bucket in which that share lies.
fn bucket(metrics: &str, name: &str, share: f64) -> Option<f64> {
    let count = value(metrics, &format!("{name}_count"))?;
    let start = format!("{name}_bucket{{le=\"");
    metrics.lines().filter_map(|line| line.strip_prefix(start.as_str())?.split_once("\"} ")).find_map(
        |(limit, within)| {
            let within: f64 = within.parse().ok()?;
            (share * count <= within).then(|| limit.parse().unwrap_or(f64::INFINITY))
        },
    )
}
