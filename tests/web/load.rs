//! On real sockets: many uploads at once, clients that are too slow, and what the command prints.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;
use tintwell::web::server;
use tintwell::web::state::Limits;

use crate::home::{Home, Part, file, form, kind, monday};

/// A running `tintwell serve`, ended with its owner.
struct Serving {
    child: Child,
    out: BufReader<ChildStdout>,
    err: Option<BufReader<std::process::ChildStderr>>,
    folder: TempDir,
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn serve(more: &[&str]) -> Serving {
    let folder = TempDir::new().unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args([
            "serve",
            "--port",
            "0",
            "--logbook",
            "book.sqlite",
            "--chart",
        ])
        .arg(file("calibration/alder-creek-nitrate.json"))
        .args(more)
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    Serving {
        out: BufReader::new(child.stdout.take().unwrap()),
        err: child.stderr.take().map(BufReader::new),
        child,
        folder,
    }
}

impl Serving {
    /// The address that is printed next: host with port, and word.
    fn address(&mut self) -> (String, String) {
        let mut line = String::new();
        self.out.read_line(&mut line).unwrap();
        let url = line.trim().strip_prefix("http://").unwrap();
        let (host, word) = url.split_once("/pair?word=").unwrap();
        (host.to_owned(), word.to_owned())
    }

    fn token(&self) -> String {
        let output = Command::new(env!("CARGO_BIN_EXE_tintwell"))
            .args(["serve", "--token", "script", "--logbook", "book.sqlite"])
            .current_dir(self.folder.path())
            .output()
            .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap().trim().to_owned()
    }
}

/// Sends a request and takes the answer to its end: status and body.
fn talk(host: &str, head: &str, body: &[u8]) -> std::io::Result<(u16, String)> {
    let mut stream = TcpStream::connect(host)?;
    stream.set_read_timeout(Some(Duration::from_secs(60)))?;
    let length = body.len();
    let head =
        format!("{head}\r\nHost: {host}\r\nConnection: close\r\nContent-Length: {length}\r\n\r\n");
    stream.write_all(head.as_bytes())?;
    stream.write_all(body)?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer)?;
    let status = answer.split(' ').nth(1).and_then(|s| s.parse().ok());
    Ok((status.expect("a status"), answer))
}

#[test]
fn the_address_that_is_printed_lets_a_browser_in() {
    let mut serving = serve(&[]);
    let (host, word) = serving.address();
    assert!(host.starts_with("127.0.0.1:"));
    let form = format!("word={word}&name=phone");
    let head = format!(
        "POST /pair HTTP/1.1\r\nOrigin: http://{host}\r\nContent-Type: application/x-www-form-urlencoded"
    );
    assert_eq!(talk(&host, &head, form.as_bytes()).unwrap().0, 303);
    assert_eq!(talk(&host, &head, form.as_bytes()).unwrap().0, 403);
    let (same, next) = serving.address();
    assert_eq!(same, host);
    assert_ne!(next, word, "a new word is printed when one was used");
    let list = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args(["serve", "--devices", "--logbook", "book.sqlite"])
        .current_dir(serving.folder.path())
        .output()
        .unwrap();
    assert!(
        String::from_utf8(list.stdout)
            .unwrap()
            .starts_with("phone\tbrowser\t")
    );
}

/// The code is read back by a decoder that shares nothing with the encoder.
#[test]
fn the_code_that_is_drawn_leads_to_the_address() {
    let mut serving = serve(&["--lan"]);
    let (host, word) = serving.address();
    let mut drawn = Vec::new();
    for line in serving.err.take().unwrap().lines() {
        let line = line.unwrap();
        if line.contains(['█', '▀', '▄']) {
            drawn.push(line.chars().collect::<Vec<_>>());
        } else if !drawn.is_empty() && line.trim().is_empty() {
            break;
        }
    }
    // Each module is drawn as a block of pixels, in white that the lines without ink leave out.
    const EDGE: usize = 4;
    const QUIET: usize = 4 * EDGE;
    let (width, height) = (drawn[0].len(), 2 * drawn.len());
    let dark = |x: usize, y: usize| {
        let cell = drawn[y / 2].get(x).copied().unwrap_or(' ');
        cell == '█' || cell == if y.is_multiple_of(2) { '▀' } else { '▄' }
    };
    let (w, h) = (width * EDGE + 2 * QUIET, height * EDGE + 2 * QUIET);
    let inside =
        |v: usize, most: usize| v.checked_sub(QUIET).map(|v| v / EDGE).filter(|v| *v < most);
    let mut picture = rqrr::PreparedImage::prepare_from_greyscale(w, h, |x, y| {
        match (inside(x, width), inside(y, height)) {
            (Some(x), Some(y)) if dark(x, y) => 0,
            _ => 255,
        }
    });
    let grids = picture.detect_grids();
    let (_, read) = grids.first().expect("a code").decode().unwrap();
    assert_eq!(read, format!("http://{host}/pair?word={word}"));
}

/// A photo of about `megabytes`, most of it comments (ITU-T T.81, B.2.4.5).
fn heavy(megabytes: usize) -> Vec<u8> {
    let photo = monday();
    let mut out = photo[..2].to_vec();
    let comment = [&[0xff, 0xfe, 0xff, 0xff][..], &[b' '; 0xfffd]].concat();
    out.extend(comment.repeat(megabytes * 16));
    out.extend_from_slice(&photo[2..]);
    out
}

/// A line of the process's own account, bytes.
#[cfg(target_os = "linux")]
fn memory(pid: u32, what: &str) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status.lines().find(|l| l.starts_with(what)).unwrap();
    1024 * line
        .split_whitespace()
        .nth(1)
        .unwrap()
        .parse::<u64>()
        .unwrap()
}

#[cfg(target_os = "linux")]
#[test]
fn fifty_uploads_at_once_are_answered_or_refused() {
    const MEGABYTES: usize = 8;
    let mut serving = serve(&[]);
    let (host, _) = serving.address();
    let head = format!(
        "POST /api/reading HTTP/1.1\r\nAuthorization: Bearer {}\r\nContent-Type: {}",
        serving.token(),
        kind()
    );
    let body = form(&[
        Part::Text("chart", "nitrate"),
        Part::Photo("1-mon.jpg", &heavy(MEGABYTES)),
    ]);
    let pid = serving.child.id();
    let idle = memory(pid, "VmRSS:");
    let (status, answer) = talk(&host, &head, &body).unwrap();
    assert_eq!(status, 200);
    assert!(answer.contains("\"verdict\":\"trusted\""), "{answer}");
    let alone = memory(pid, "VmHWM:") - idle;
    let statuses: Vec<u16> = thread::scope(|scope| {
        let clients: Vec<_> = (0..50)
            .map(|_| scope.spawn(|| talk(&host, &head, &body).unwrap()))
            .collect();
        let answers = clients.into_iter().map(|c| c.join().unwrap());
        answers
            .map(|(status, answer)| {
                match status {
                    200 => assert!(answer.contains("\"verdict\":\"trusted\"")),
                    _ => assert!(answer.to_lowercase().contains("retry-after: "), "{answer}"),
                }
                status
            })
            .collect()
    });
    let answered = statuses.iter().filter(|s| **s == 200).count();
    let refused = statuses.iter().filter(|s| **s == 503).count();
    assert_eq!(answered + refused, 50, "{statuses:?}");
    assert!(
        answered > 0 && refused > 0,
        "{answered} answered, {refused} refused"
    );
    // As many readings as cores, each as dear as the one alone; beside them the waiting photos, twice while they grow.
    let limits = Limits::default();
    let waiting = (limits.waiting * 2 * MEGABYTES) as u64 * (1 << 20);
    let bound = idle + limits.readings as u64 * alone + waiting;
    let most = memory(pid, "VmHWM:");
    eprintln!("idle {idle}, alone {alone}, most {most}, bound {bound}; {answered} answered");
    assert!(most < bound + bound / 4, "{most} of {bound} bytes");
    assert!(
        most < idle + 50 * (MEGABYTES as u64) * (1 << 20),
        "less than all photos alone take"
    );
    // It goes on as before.
    assert_eq!(talk(&host, &head, &body).unwrap().0, 200);
}

/// How long a client that does as told is borne, until the connection ends.
fn borne(host: &str, mut act: impl FnMut(&mut TcpStream) -> std::io::Result<()>) -> Duration {
    let mut stream = TcpStream::connect(host).unwrap();
    let start = Instant::now();
    stream
        .set_read_timeout(Some(Duration::from_millis(50)))
        .unwrap();
    while start.elapsed() < Duration::from_secs(20) {
        if act(&mut stream).is_err() {
            break;
        }
        match stream.read(&mut [0; 1024]) {
            Ok(0) => break,
            Err(e)
                if !matches!(
                    e.kind(),
                    std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut
                ) =>
            {
                break;
            }
            _ => {}
        }
    }
    start.elapsed()
}

#[tokio::test(flavor = "multi_thread")]
async fn slow_clients_are_dropped() {
    let limits = Limits {
        connections: 4,
        head_time: Duration::from_millis(500),
        idle_time: Duration::from_secs(1),
        body_time: Duration::from_secs(2),
        ..Limits::default()
    };
    let home = Home::with(limits.clone());
    let cookie = home.pair("phone").await;
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let host = listener.local_addr().unwrap().to_string();
    let service = home.service.clone();
    let server = tokio::spawn(async move { server::serve(listener, service, &limits).await });
    let head = format!(
        "POST /api/reading HTTP/1.1\r\nHost: {}\r\nOrigin: {}\r\nCookie: {cookie}\r\nContent-Type: {}\r\nContent-Length: 1000000\r\n\r\n",
        crate::home::HOST,
        crate::home::ORIGIN,
        kind()
    );
    tokio::task::spawn_blocking(move || {
        let silent = borne(&host, |_| Ok(()));
        assert!(
            (0.4..2.0).contains(&silent.as_secs_f64()),
            "silent: {silent:?}"
        );
        let mut letters = head.bytes().collect::<Vec<_>>().into_iter();
        let drip = borne(&host, |s| s.write_all(&[letters.next().unwrap()]));
        assert!(
            (0.4..2.0).contains(&drip.as_secs_f64()),
            "a byte of the head at a time: {drip:?}"
        );
        let mut sent = false;
        let stalled = borne(&host, |s| match std::mem::replace(&mut sent, true) {
            false => s.write_all(head.as_bytes()),
            true => Ok(()),
        });
        assert!(
            (0.9..1.9).contains(&stalled.as_secs_f64()),
            "stalled: {stalled:?}"
        );
        let mut sent = false;
        let drip = borne(&host, |s| match std::mem::replace(&mut sent, true) {
            false => s.write_all(head.as_bytes()),
            true => s.write_all(b"x"),
        });
        assert!(
            (1.9..4.0).contains(&drip.as_secs_f64()),
            "a byte of the body at a time: {drip:?}"
        );
        // More connections than are held are closed at once, and the others are not harmed.
        let held: Vec<TcpStream> = (0..4).map(|_| TcpStream::connect(&host).unwrap()).collect();
        thread::sleep(Duration::from_millis(100));
        let fifth = borne(&host, |_| Ok(()));
        assert!(fifth < Duration::from_millis(300), "{fifth:?}");
        drop(held);
    })
    .await
    .unwrap();
    server.abort();
}
