//! The real desk on a free port, asked over plain sockets as any program on this machine could ask it.
#![allow(dead_code, reason = "each test binary uses its part")]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::shoots::{Place, short_shoot};

/// A desk that runs; it ends with this.
pub struct Desk {
    child: Child,
    pub port: u16,
    pub key: String,
}

/// Two cards with a short shoot, a desk on them, and what is true.
pub fn desk_and_truth() -> (Place, Desk, rehearsal::Truth) {
    let place = Place::new();
    let truth = short_shoot(12.0).write(&place.cards()).expect("a shoot");
    let cards = [place.card("NORTH"), place.card("SOUTH")];
    let desk = Desk::open(&cards, &place.out_path());
    (place, desk, truth)
}

/// The same without the truth.
pub fn desk() -> (Place, Desk) {
    let (place, desk, _) = desk_and_truth();
    (place, desk)
}

/// The alignment file of a desk's folder.
pub fn alignment(place: &Place) -> Value {
    let text = std::fs::read_to_string(place.out_path().join("alignment.json"));
    serde_json::from_str(&text.expect("an alignment file")).expect("JSON")
}

/// A session in the body of a form: every byte escaped (RFC 3986, section 2.1).
pub fn session_form(session: &str) -> String {
    let escaped = session.bytes().map(|byte| format!("%{byte:02X}"));
    format!("session={}", escaped.collect::<String>())
}

/// What came back.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The value of a header, if it is there.
    pub fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines();
        lines.find_map(|line| {
            let (own, value) = line.split_once(':')?;
            own.eq_ignore_ascii_case(name).then_some(value.trim())
        })
    }
}

impl Desk {
    /// Opens a desk and waits until it says where.
    pub fn open(cards: &[String], out: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_commontime"))
            .arg("desk")
            .args(cards)
            .args(["--out", &out.display().to_string(), "--no-browser"])
            .stdout(Stdio::piped())
            .spawn()
            .expect("the binary runs");
        let said = child.stdout.take().expect("its output");
        let mut line = String::new();
        BufReader::new(said).read_line(&mut line).expect("a line");
        let address = line
            .split("http://127.0.0.1:")
            .nth(1)
            .expect("an address")
            .trim();
        let (port, key) = address.split_once("/?key=").expect("a key");
        Self {
            port: port.parse().expect("a port"),
            key: key.to_string(),
            child,
        }
    }

    pub fn start(&self) -> String {
        format!("http://127.0.0.1:{}/?key={}", self.port, self.key)
    }

    pub fn own(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    fn cookie(&self) -> String {
        format!("desk-{}={}", self.port, self.key)
    }

    /// Exactly these headers.
    pub fn raw(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        let timeout = Some(Duration::from_secs(60));
        stream.set_read_timeout(timeout).expect("a timeout");
        let mut request = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        for (name, value) in headers {
            request.push_str(&format!("{name}: {value}\r\n"));
        }
        if !body.is_empty() {
            request.push_str(&format!(
                "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n",
                body.len()
            ));
        }
        request.push_str("\r\n");
        request.push_str(body);
        stream.write_all(request.as_bytes()).expect("sent");
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).expect("an answer");
        let end = bytes
            .windows(4)
            .position(|four| four == b"\r\n\r\n")
            .expect("a head");
        let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
        let status = head.split(' ').nth(1).and_then(|word| word.parse().ok());
        let rest = bytes[end + 4..].to_vec();
        let chunked = head
            .to_ascii_lowercase()
            .contains("transfer-encoding: chunked");
        Answer {
            status: status.expect("a status"),
            body: if chunked { unchunked(&rest) } else { rest },
            head,
        }
    }

    /// As the desk's own page asks.
    pub fn get(&self, path: &str) -> Answer {
        self.raw(
            "GET",
            path,
            &[("Host", &self.own()), ("Cookie", &self.cookie())],
            "",
        )
    }

    /// As the desk's own form is sent, with the token of the page.
    pub fn post(&self, path: &str, fields: &str) -> Answer {
        let token = self.token();
        let origin = format!("http://{}", self.own());
        let headers = [
            ("Host", self.own()),
            ("Cookie", self.cookie()),
            ("Origin", origin),
        ];
        let headers = headers
            .each_ref()
            .map(|(name, value)| (*name, value.as_str()));
        self.raw("POST", path, &headers, &format!("token={token}&{fields}"))
    }

    /// The token that stands in the forms.
    pub fn token(&self) -> String {
        let page = self.get("/").text();
        let after = page
            .split("name=\"token\" value=\"")
            .nth(1)
            .expect("a form");
        after.split('"').next().expect("a token").to_string()
    }

    /// Measures the day and gives the name of its only joint take.
    pub fn measured(&self) -> String {
        assert_eq!(self.post("/do/measure", "").status, 303);
        self.settle();
        let day = self.get("/day").text();
        let name = day
            .split("href=\"/take/")
            .nth(1)
            .and_then(|rest| rest.split('"').next());
        name.expect("a joint take").to_string()
    }

    /// Waits until nothing runs any more.
    pub fn settle(&self) {
        let began = Instant::now();
        while !self.get("/pulse").text().contains("\"job\":null") {
            assert!(
                began.elapsed() < Duration::from_secs(300),
                "it goes on for ever"
            );
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn unchunked(mut bytes: &[u8]) -> Vec<u8> {
    let mut all = Vec::new();
    while let Some(end) = bytes.windows(2).position(|two| two == b"\r\n") {
        let size = std::str::from_utf8(&bytes[..end]).ok();
        let size = size
            .and_then(|size| usize::from_str_radix(size, 16).ok())
            .unwrap_or(0);
        if size == 0 {
            break;
        }
        all.extend_from_slice(&bytes[end + 2..end + 2 + size]);
        bytes = &bytes[end + 4 + size..];
    }
    all
}
