//! A recorded stream is replayed by the arrivals that its lines tell, whatever their order in the file.

use std::fs;
use std::fs::File;
use std::process::Stdio;

use model::Content;
use tempfile::TempDir;
use wire::recording::line;

use crate::program::{output, program, text};
use crate::streams::Sample;

/// The lines of the sample of a good day, readings and events apart.
struct Day {
    folder: TempDir,
    readings: Vec<String>,
    events: Vec<String>,
    in_order: String,
}

impl Day {
    fn read() -> Day {
        let sample = Sample::read("good-day");
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("plant.toml"), &sample.plant_text).unwrap();
        let (mut readings, mut events, mut in_order) = (Vec::new(), Vec::new(), String::new());
        for (arrival, message) in sample.arrivals.iter().zip(sample.timed_messages()) {
            let line = line(&message) + "\n";
            in_order += &line;
            match arrival.content {
                Content::Reading(_) => readings.push(line),
                Content::Event(_) => events.push(line),
            }
        }
        Day { folder, readings, events, in_order }
    }

    fn path(&self, file: &str) -> String {
        self.folder.path().join(file).to_str().unwrap().to_owned()
    }

    fn analysed(&self, lines: &str) -> String {
        fs::write(self.path("stream"), lines).unwrap();
        output(&["analyse", &self.path("stream"), "--plant", &self.path("plant.toml"), "--format", "json"])
    }
}

#[test]
fn what_is_written_later_is_heard_when_it_arrived() {
    let day = Day::read();
    let expected = day.analysed(&day.in_order);
    assert!(expected.contains("\"raised_at\""), "{expected}");
    let (before_noon, after_noon) = day.in_order.split_at(day.in_order.len() / 2);
    let (tail, head) = after_noon.split_once('\n').unwrap();
    let afternoon_first = format!("{head}{before_noon}{tail}\n");
    assert_eq!(day.analysed(&afternoon_first), expected);
    assert_eq!(day.analysed(&[day.readings.concat(), day.events.concat()].concat()), expected);
    assert_eq!(day.analysed(&[day.events.concat(), day.readings.concat()].concat()), expected);
}

/// A pipe can be read only once.
#[test]
fn a_pipe_is_put_in_order_like_a_file() {
    let day = Day::read();
    let expected = day.analysed(&day.in_order);
    fs::write(day.path("stream"), [day.readings.concat(), day.events.concat()].concat()).unwrap();
    let mut cat =
        std::process::Command::new("cat").arg(day.path("stream")).stdout(Stdio::piped()).spawn().unwrap();
    let mut command = program();
    command.args(["analyse", "/dev/stdin", "--plant", &day.path("plant.toml"), "--format", "json"]);
    let analysed = command.stdin(cat.stdout.take().unwrap()).output().unwrap();
    assert!(cat.wait().unwrap().success());
    assert_eq!(text(&analysed.stdout), expected, "{}", text(&analysed.stderr));
    let redirected = File::open(day.path("stream")).unwrap();
    assert_eq!(text(&command.stdin(redirected).output().unwrap().stdout), expected);
}
