//! `halfdegree serve` as a process of its own.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use crate::{Outcome, http, table};

pub(crate) struct ServiceRun {
    child: Child,
    data: PathBuf,
    /// Host and port of its pages.
    pub(crate) address: String,
}

impl ServiceRun {
    pub(crate) fn start(folder: &Path, plant_text: &str) -> Outcome<ServiceRun> {
        let (plant, data) = (folder.join("plant.toml"), folder.join("data"));
        fs::write(&plant, plant_text)?;
        let mut command = Command::new("sh");
        command.arg("-c").arg(limited()?).arg("soak").arg(program()?).arg("serve");
        command.arg("--plant").arg(&plant).arg("--data").arg(&data).args(["--listen", "127.0.0.1:0"]);
        let mut child = command.stdout(Stdio::piped()).spawn()?;
        let mut told = String::new();
        BufReader::new(child.stdout.take().ok_or("no output")?).read_line(&mut told)?;
        let address = told.trim().strip_prefix("Pages at http://").ok_or("the service does not start")?;
        let address = address.trim_end_matches('/').to_owned();
        Ok(ServiceRun { child, data, address })
    }

    /// Waits until it listens to the broker: what is sent before that is nobody's.
    pub(crate) fn wait_for_broker(&self) {
        testkit::wait_until("the service is connected", || {
            self.metrics().is_ok_and(|metrics| metrics.lines().any(|line| line == "halfdegree_connected 1.0"))
        });
    }

    /// Waits until no message has come for `rest`.
    pub(crate) fn come_to_rest(&self, rest: Duration) -> Outcome<()> {
        let messages = || -> Outcome<f64> {
            Ok(table::value(&self.metrics()?, "halfdegree_messages_total").unwrap_or_default())
        };
        let mut before = messages()?;
        loop {
            std::thread::sleep(rest);
            let now = messages()?;
            if now == before {
                return Ok(());
            }
            before = now;
        }
    }

    pub(crate) fn id(&self) -> u32 {
        self.child.id()
    }

    pub(crate) fn metrics(&self) -> Outcome<String> {
        http::get(&self.address, "/metrics")
    }

    /// Names and sizes of the files that it keeps open for writing, and of all parts together.
    pub(crate) fn folder_sizes(&self) -> Vec<(String, u64)> {
        let size = |name: &str| fs::metadata(self.data.join(name)).map_or(0, |found| found.len());
        let names = ["journal.db", "journal.db-wal", "records.db", "records.db-wal"];
        let mut sizes: Vec<(String, u64)> =
            names.iter().map(|name| ((*name).to_owned(), size(name))).collect();
        sizes.push(("readings/".to_owned(), below(&self.data.join("readings"))));
        sizes
    }

    /// Stops it as a service manager does; the folder that it leaves.
    pub(crate) fn stop(mut self) -> Outcome<PathBuf> {
        Command::new("sh").arg("-c").arg(format!("kill -TERM {}", self.child.id())).status()?;
        let ended = self.child.wait()?;
        if !ended.success() {
            return Err(format!("the service ended with {ended}").into());
        }
        Ok(std::mem::take(&mut self.data))
    }
}

impl Drop for ServiceRun {
    fn drop(&mut self) {
        // It has gone already after `stop`.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The program that was built beside this example.
fn program() -> Outcome<PathBuf> {
    if let Some(program) = std::env::var_os("SOAK_PROGRAM") {
        return Ok(program.into());
    }
    let beside = std::env::current_exe()?;
    Ok(beside.parent().and_then(Path::parent).ok_or("no target folder")?.join("halfdegree"))
}

/// A line of shell that runs its arguments, under a limit of the kernel's if one is asked for.
fn limited() -> Outcome<String> {
    let run = "exec \"$@\"".to_owned();
    let Ok(megabytes) = std::env::var("SOAK_MEMORY_MB") else { return Ok(run) };
    let bytes = megabytes.parse::<u64>()? << 20;
    let v1 = Path::new("/sys/fs/cgroup/memory");
    let (root, limit) = if v1.exists() {
        (v1.to_owned(), "memory.limit_in_bytes")
    } else {
        (PathBuf::from("/sys/fs/cgroup"), "memory.max")
    };
    let group = root.join("halfdegree-soak");
    fs::create_dir_all(&group)?;
    fs::write(group.join(limit), bytes.to_string())?;
    Ok(format!("echo $$ > {}/cgroup.procs && {run}", group.display()))
}

fn below(folder: &Path) -> u64 {
    let Ok(entries) = fs::read_dir(folder) else { return 0 };
    let size = |entry: fs::DirEntry| match entry.metadata() {
        Ok(found) if found.is_dir() => below(&entry.path()),
        Ok(found) => found.len(),
        Err(_) => 0,
    };
    entries.flatten().map(size).sum()
}
