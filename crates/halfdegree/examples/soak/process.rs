//! What the kernel says of a process (Linux, `proc(5)`).

use std::fs;

use model::Timestamp;

use crate::Outcome;

/// Ticks of the kernel's accounting a second; it has been a hundred on every Linux for long.
const TICKS_A_SECOND: f64 = 100.0;

/// What a process uses.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Usage {
    pub(crate) cpu_seconds: f64,
    pub(crate) rss_mb: f64,
    pub(crate) peak_rss_mb: f64,
    pub(crate) threads: u64,
}

impl Usage {
    pub(crate) fn of(id: u32) -> Outcome<Usage> {
        let stat = fs::read_to_string(format!("/proc/{id}/stat"))?;
        // The name stands in brackets and may hold anything.
        let rest = stat.rsplit_once(") ").ok_or("no process name")?.1;
        let fields: Vec<&str> = rest.split(' ').collect();
        let ticks: f64 = fields[11].parse::<f64>()? + fields[12].parse::<f64>()?;
        let status = fs::read_to_string(format!("/proc/{id}/status"))?;
        let figure = |name: &str| {
            let line = status.lines().find_map(|line| line.strip_prefix(name));
            line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok()).unwrap_or(0.0)
        };
        Ok(Usage {
            cpu_seconds: ticks / TICKS_A_SECOND,
            rss_mb: figure("VmRSS:") / 1024.0,
            peak_rss_mb: figure("VmHWM:") / 1024.0,
            threads: figure("Threads:") as u64,
        })
    }
}

/// The wall's clock.
pub(crate) fn now() -> Timestamp {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
    Timestamp::from_millis(since.as_millis() as i64)
}

/// How many processes wanted a core, over the last minute.
pub(crate) fn load() -> String {
    fs::read_to_string("/proc/loadavg").map_or_else(|_| "?".to_owned(), |text| text.trim().to_owned())
}
