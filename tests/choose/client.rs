//! The program serving its page, and a plain client of it.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::desk::Desk;

/// The program with its page, ended when this is dropped.
pub(super) struct Served {
    child: Child,
    /// `127.0.0.1:PORT`.
    pub(super) host: String,
    /// `/SECRET/`.
    pub(super) root: String,
}

/// What came back.
pub(super) struct Answer {
    pub(super) status: u16,
    pub(super) head: String,
    pub(super) body: Vec<u8>,
}

impl Answer {
    pub(super) fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }

    pub(super) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// A header's value, empty where there is none.
    pub(super) fn header(&self, name: &str) -> &str {
        let line = |line: &&str| line.to_lowercase().starts_with(&format!("{name}:"));
        let line = self.head.lines().find(line);
        line.and_then(|l| l.split_once(':'))
            .map_or("", |(_, value)| value.trim())
    }

    pub(super) fn picture(&self) -> image::RgbImage {
        assert_eq!(
            (self.status, self.header("content-type")),
            (200, "image/jpeg"),
            "{}",
            self.text()
        );
        image::load_from_memory(&self.body).unwrap().to_rgb8()
    }
}

impl Served {
    /// Serves the desk's results.
    pub(super) fn of(desk: &Desk) -> Self {
        Self::with(desk, &[])
    }

    pub(super) fn with(desk: &Desk, more: &[&str]) -> Self {
        let mut child = Command::new(assert_cmd::cargo::cargo_bin("contactstrip"))
            .arg("choose")
            .arg(desk.out())
            .args(["--no-browser", "--quiet"])
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.as_mut().unwrap())
            .read_line(&mut line)
            .unwrap();
        let address = line
            .trim()
            .strip_prefix("http://")
            .unwrap_or_else(|| panic!("no address: {line:?}"));
        let (host, root) = address.split_once('/').unwrap();
        Self {
            host: host.to_owned(),
            root: format!("/{root}"),
            child,
        }
    }

    /// Sends lines of a request and gives the answer.
    pub(super) fn send(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> Answer {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        stream
            .set_read_timeout(Some(Duration::from_secs(120)))
            .unwrap();
        let mut request = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        for (name, value) in headers {
            request += &format!("{name}: {value}\r\n");
        }
        if !body.is_empty() {
            request += &format!(
                "Content-Type: application/json\r\nContent-Length: {}\r\n",
                body.len()
            );
        }
        stream
            .write_all(format!("{request}\r\n{body}").as_bytes())
            .unwrap();
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).unwrap();
        let end = bytes.windows(4).position(|w| w == b"\r\n\r\n").unwrap();
        let head = String::from_utf8(bytes[..end].to_vec()).unwrap();
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        Answer {
            status,
            head,
            body: bytes[end + 4..].to_vec(),
        }
    }

    /// What the page's own script would ask, below the secret.
    pub(super) fn get(&self, path: &str) -> Answer {
        let host = self.host.clone();
        self.send(
            "GET",
            &format!("{}{path}", self.root),
            &[("Host", &host)],
            "",
        )
    }

    pub(super) fn post(&self, path: &str, body: &str) -> Answer {
        let (host, origin) = (self.host.clone(), format!("http://{}", self.host));
        let headers = [("Host", host.as_str()), ("Origin", &origin)];
        self.send("POST", &format!("{}{path}", self.root), &headers, body)
    }

    /// The program's process.
    pub(super) fn id(&self) -> u32 {
        self.child.id()
    }

    /// Waits for the work to end and gives its last state.
    pub(super) fn worked(&self) -> Value {
        let begun = Instant::now();
        loop {
            let work = self.get("pulse/-").json()["work"].clone();
            if work["running"] == Value::Bool(false) {
                return work;
            }
            assert!(begun.elapsed() < Duration::from_secs(240), "{work}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Kills the program, as a crash would.
    pub(super) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Ends it as Ctrl-C does and gives its exit code.
    #[cfg(unix)]
    pub(super) fn interrupt(mut self) -> Option<i32> {
        let id = self.child.id().to_string();
        assert!(
            Command::new("kill")
                .args(["-INT", &id])
                .status()
                .unwrap()
                .success()
        );
        self.child.wait().unwrap().code()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // One that has ended already cannot be killed.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
