//! The whole way: an alarm rings, and a mail server and a webhook's receiver on this computer get their messages.

use std::sync::Mutex;

use model::{FindingKind, Priority};
use records::{Actor, By, Update};
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

use super::*;
use crate::made_up::{LADDER, at, board, finding, plant};
use crate::webhook::{Secret, signature};

const SECRET: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";

/// Speaks as much of RFC 5321 as a client needs, and refuses its first `refusals` letters for the moment.
struct MailServer {
    port: u16,
    letters: Arc<Mutex<Vec<String>>>,
    _task: JoinHandle<()>,
}

impl MailServer {
    async fn start(refusals: usize) -> MailServer {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let letters = Arc::new(Mutex::new(Vec::new()));
        let kept = letters.clone();
        let task = tokio::spawn(async move {
            let mut refusals = refusals;
            loop {
                let (stream, _) = listener.accept().await.unwrap();
                serve(stream, &mut refusals, &kept).await;
            }
        });
        MailServer { port, letters, _task: task }
    }
}

async fn serve(stream: TcpStream, refusals: &mut usize, letters: &Mutex<Vec<String>>) {
    let mut stream = BufReader::new(stream);
    stream.write_all(b"220 mail.tern.example\r\n").await.unwrap();
    let mut line = String::new();
    while let Ok(1..) = stream.read_line(&mut line).await {
        let command = line.split(' ').next().unwrap_or_default().trim().to_uppercase();
        line.clear();
        let reply = match command.as_str() {
            "EHLO" => "250-mail.tern.example\r\n250 8BITMIME\r\n",
            "MAIL" if 0 < *refusals => {
                *refusals -= 1;
                "451 not now\r\n"
            }
            "DATA" => {
                stream.write_all(b"354 go on\r\n").await.unwrap();
                let mut letter = String::new();
                while !letter.ends_with("\r\n.\r\n") {
                    stream.read_line(&mut letter).await.unwrap();
                }
                letters.lock().unwrap().push(letter);
                "250 taken\r\n"
            }
            "QUIT" => "221 bye\r\n",
            _ => "250 fine\r\n",
        };
        if stream.write_all(reply.as_bytes()).await.is_err() {
            return;
        }
    }
}

/// Answers every request with 204 and keeps it.
async fn receiver() -> (u16, Arc<Mutex<Vec<String>>>, JoinHandle<()>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let requests = Arc::new(Mutex::new(Vec::new()));
    let kept = requests.clone();
    let task = tokio::spawn(async move {
        loop {
            let (mut stream, _) = listener.accept().await.unwrap();
            let mut bytes = Vec::new();
            while !is_whole(&bytes) {
                let mut more = [0; 4096];
                let n = stream.read(&mut more).await.unwrap();
                bytes.extend_from_slice(&more[..n]);
            }
            kept.lock().unwrap().push(String::from_utf8(bytes).unwrap());
            stream.write_all(b"HTTP/1.1 204 No Content\r\nconnection: close\r\n\r\n").await.unwrap();
        }
    });
    (port, requests, task)
}

fn is_whole(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let Some((head, body)) = text.split_once("\r\n\r\n") else { return false };
    let length = header(head, "content-length").parse().unwrap_or(0);
    length <= body.len()
}

fn header<'a>(head: &'a str, name: &str) -> &'a str {
    let line = head.lines().find(|line| line.to_lowercase().starts_with(&format!("{name}:")));
    line.and_then(|line| line.split_once(": ")).map_or("", |(_, value)| value)
}

struct Works {
    reaching: Reaching,
    _board: watch::Sender<Arc<Board>>,
    _folder: tempfile::TempDir,
}

/// Alder scorches since minute 60; it is that minute of the day.
fn works(plant: plant::Plant, minutes: i64) -> Works {
    let folder = tempfile::tempdir().unwrap();
    let records = Arc::new(Records::open(folder.path().join(records::FILE_NAME)).unwrap());
    let open = [finding("alder", FindingKind::Scorch, Priority::High, 60)];
    let (sender, board) = watch::channel(Arc::new(board(&open)));
    let config = ReachConfig {
        reach: plant.reach.clone(),
        secrets: [("lead".parse().unwrap(), Secret::new(SECRET).unwrap())].into(),
        origin: Some("https://tempering.tern.example".to_owned()),
        ..ReachConfig::default()
    };
    let reaching = Reaching {
        plant: Arc::new(plant),
        config,
        board,
        desk: Arc::new(Desk::open(records.clone(), at(minutes)).unwrap()),
        records,
        clock: Arc::new(move || at(minutes)),
        stats: Arc::new(ReachStats::default()),
    };
    Works { reaching, _board: sender, _folder: folder }
}

impl Works {
    fn again(&self) -> Reaching {
        let Reaching { plant, config, board, desk, records, clock, stats } = &self.reaching;
        Reaching {
            plant: plant.clone(),
            config: config.clone(),
            board: board.clone(),
            desk: desk.clone(),
            records: records.clone(),
            clock: clock.clone(),
            stats: stats.clone(),
        }
    }

    fn post(&self) -> Post {
        Post::new(self.again()).unwrap()
    }

    /// Runs until `done`, or for so long that something is wrong.
    async fn run_until(&self, done: impl Fn(&ReachStats) -> bool) {
        let stop = CancellationToken::new();
        let running = tokio::spawn(self.post().keep_reaching(stop.clone()));
        let patience = Instant::now() + Duration::from_secs(60);
        while !done(&self.reaching.stats) {
            assert!(Instant::now() < patience, "{:?}", self.reaching.stats.counts());
            sleep(Duration::from_millis(20)).await;
        }
        stop.cancel();
        running.await.unwrap();
    }
}

#[tokio::test]
async fn mail_and_webhook_arrive_and_say_what_to_do() {
    let mail = MailServer::start(0).await;
    let (hook, requests, _task) = receiver().await;
    let works = works(plant(mail.port, hook, LADDER), 70);
    works.run_until(|stats| stats.arrived() == 2).await;

    let letter = mail.letters.lock().unwrap()[0].clone();
    for says in [
        "To: <shift@tern.example>",
        "Subject: Now: Alder, Too hot: it may burn",
        "Turn the heat off",
        "/alarms",
        "Auto-Submitted: auto-generated",
    ] {
        assert!(letter.replace("=\r\n", "").contains(says), "{says}: {letter}");
    }
    let heat_off = letter.replace("=\r\n", "").matches("Turn the heat off").count();
    assert_eq!(heat_off, 1, "said once is enough: {letter}");
    let request = requests.lock().unwrap()[0].clone();
    let (head, body) = request.split_once("\r\n\r\n").unwrap();
    let (id, seconds) = (header(head, "webhook-id"), header(head, "webhook-timestamp"));
    let seconds: i64 = seconds.parse().unwrap();
    // Of this try, not of the alarm: the libraries of the specification refuse what is more than five minutes old.
    assert!((jiff::Timestamp::now().as_second() - seconds).abs() < 300, "{seconds}");
    assert_eq!(
        header(head, "webhook-signature"),
        signature(&Secret::new(SECRET).unwrap(), id, seconds, body)
    );
    let body: serde_json::Value = serde_json::from_str(body).unwrap();
    assert_eq!((&body["type"], &body["data"]["machine"]), (&"alarm.raised".into(), &"alder".into()));
    assert!(body["data"]["action"].as_str().unwrap().starts_with("Turn the heat off"));
}

#[tokio::test]
async fn nobody_is_told_again_after_a_restart() {
    let mail = MailServer::start(0).await;
    let works = works(plant(mail.port, 9, LADDER), 60);
    works.run_until(|stats| stats.arrived() == 1).await;
    let told = |works: &Works| {
        works.reaching.records.told_of(&[finding("alder", FindingKind::Scorch, Priority::High, 60).id])
    };
    while told(&works).unwrap().is_empty() {
        sleep(Duration::from_millis(5)).await;
    }
    let mut post = works.post();
    post.look().await;
    assert_eq!(post.outbox.len(), 0);
}

#[tokio::test]
async fn what_somebody_acknowledges_meanwhile_is_not_sent_any_more() {
    let works = works(plant(25, 80, LADDER), 70);
    let mut post = works.post();
    post.look().await;
    assert_eq!(post.outbox.len(), 2);
    let (board, by) = (works.reaching.board.borrow().clone(), By::new(Actor::Loopback, at(70)));
    let scorch = finding("alder", FindingKind::Scorch, Priority::High, 60);
    let update = Update { findings: vec![scorch.clone()], ..Update::default() };
    works.reaching.records.commit(&update).unwrap();
    works.reaching.desk.acknowledge(&by, "ana", &board, &scorch.id).unwrap();
    post.look().await;
    assert_eq!((post.outbox.len(), post.asked.len(), works.reaching.stats.lost()), (0, 0, 0));
}

#[tokio::test]
async fn nobody_is_told_of_a_flood_again_after_a_restart() {
    let mut works = works(plant(25, 80, LADDER), 61);
    let open: Vec<_> =
        FindingKind::ALL[..12].iter().map(|kind| finding("alder", *kind, Priority::Medium, 60)).collect();
    works.reaching.board = watch::channel(Arc::new(board(&open))).1;
    let (finding, contact) = (flood_id(at(60)), "shift".parse().unwrap());
    let told = Told { finding, priority: Priority::High, contact, at: at(60), arrived: true };
    works.reaching.records.note_told(&told).unwrap();
    let mut post = works.post();
    post.look().await;
    assert_eq!(post.outbox.len(), 0);
}

#[tokio::test]
async fn what_is_refused_for_good_is_given_up_and_told() {
    let (hook, _requests, _task) = receiver().await;
    // Nobody knows the secret of the lead, so that nothing can be signed for them.
    let mut works = works(plant(25, hook, "[[reach]]\nfirst = [\"lead\"]\n"), 60);
    works.reaching.config.secrets.clear();
    works.run_until(|stats| stats.lost() == 1).await;
    assert_eq!(
        works.reaching.stats.says(at(60)),
        ["One message about an alarm did not reach anybody: lead: its secret is not known."]
    );
}

#[tokio::test]
async fn a_server_that_is_busy_is_tried_again() {
    let mail = MailServer::start(1).await;
    let works = works(plant(mail.port, 9, LADDER), 60);
    works.run_until(|stats| stats.arrived() == 1).await;
    assert_eq!(mail.letters.lock().unwrap().len(), 1);
}

/// Seven tries take ten minutes, and nobody who looks at the page about health may take all for well that long.
#[tokio::test]
async fn what_does_not_get_through_is_told_long_before_it_is_given_up() {
    let works = works(plant(25, 9, "[[reach]]\nfirst = [\"lead\"]\n"), 60);
    let says = || works.reaching.stats.says(at(60));
    let mut post = works.post();
    post.look().await;
    let refused = ReachError::Now("nobody listens there".to_owned());
    let (mut now, mut told) = (Instant::now(), Vec::new());
    for _ in 0..2 {
        let pending = post.outbox.take(now).unwrap();
        post.failed(pending, &refused);
        now += Duration::from_secs(3600);
        post.note_how_it_stands();
        told.push(says());
    }
    let late = "One message about an alarm does not get through so far, and is tried again: lead: nobody listens there.";
    assert_eq!(told, [vec![], vec![late.to_owned()]]);
    // Somebody acknowledges it: nobody need be told any more, and nothing is late.
    let (board, by) = (works.reaching.board.borrow().clone(), By::new(Actor::Loopback, at(60)));
    let scorch = finding("alder", FindingKind::Scorch, Priority::High, 60);
    let update = Update { findings: vec![scorch.clone()], ..Update::default() };
    works.reaching.records.commit(&update).unwrap();
    works.reaching.desk.acknowledge(&by, "ana", &board, &scorch.id).unwrap();
    post.look().await;
    post.note_how_it_stands();
    assert_eq!(says(), [] as [String; 0]);
}
