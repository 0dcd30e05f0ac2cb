//! A browser without a window, told what to do by chromedriver: JSON over plain HTTP (W3C WebDriver).

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// What is missing here to look at pages.
pub fn missing() -> Option<&'static str> {
    let there = |program: &str| {
        Command::new(program)
            .arg("--version")
            .output()
            .is_ok_and(|o| o.status.success())
    };
    ["chromium", "chromedriver"].into_iter().find(|p| !there(p))
}

/// chromedriver, and the sessions that it runs.
pub struct Driver {
    child: Child,
    port: u16,
}

impl Driver {
    pub fn start() -> Driver {
        let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let port = free.local_addr().unwrap().port();
        drop(free);
        let mut command = Command::new("chromedriver");
        command
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        let driver = Driver {
            child: command.spawn().unwrap(),
            port,
        };
        let start = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(
                start.elapsed() < Duration::from_secs(60),
                "chromedriver does not answer"
            );
            std::thread::sleep(Duration::from_millis(50));
        }
        driver
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Value {
        let mut to = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        let body = if method == "POST" {
            body.to_string()
        } else {
            String::new()
        };
        write!(
            to,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            self.port,
            body.len()
        )
        .unwrap();
        // It leaves the connection open, whatever is asked of it: as much as it promises is read.
        to.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let mut from = BufReader::new(to);
        let mut head = String::new();
        while !head.ends_with("\r\n\r\n") {
            assert!(from.read_line(&mut head).unwrap() > 0, "chromedriver hung up: {head}");
        }
        let length = head.lines().find_map(|l| {
            let (name, value) = l.split_once(':')?;
            name.eq_ignore_ascii_case("content-length")
                .then(|| value.trim().parse().unwrap())
        });
        let mut body = vec![0; length.unwrap_or_else(|| panic!("no length: {head}"))];
        from.read_exact(&mut body).unwrap();
        let value: Value = serde_json::from_slice(&body).unwrap_or_else(|e| panic!("{e}: {head}"));
        value["value"].clone()
    }

    /// A browser at an address, as wide as a projector.
    pub fn open(&self, address: &str) -> Browser<'_> {
        let args = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--window-size=1280,720",
            "--enable-precise-memory-info",
        ];
        let wanted = json!({ "capabilities": { "alwaysMatch": { "goog:chromeOptions": { "args": args, "binary": "/usr/bin/chromium" } } } });
        let session = self.ask("POST", "/session", &wanted);
        let id = session["sessionId"]
            .as_str()
            .unwrap_or_else(|| panic!("{session}"))
            .to_owned();
        let browser = Browser { driver: self, id };
        browser.ask("url", &json!({ "url": address }));
        browser
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub struct Browser<'a> {
    driver: &'a Driver,
    id: String,
}

impl Browser<'_> {
    fn ask(&self, what: &str, body: &Value) -> Value {
        self.driver.ask("POST", &format!("/session/{}/{what}", self.id), body)
    }

    /// What a script gives back.
    pub fn tell(&self, script: &str) -> Value {
        self.ask("execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// Waits until a script gives back something true.
    pub fn until(&self, what: &str, script: &str) {
        let start = Instant::now();
        while self.tell(script) != Value::Bool(true) {
            assert!(
                start.elapsed() < Duration::from_secs(60),
                "{what}: {}",
                self.tell("return document.body.innerText")
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Browser<'_> {
    fn drop(&mut self) {
        self.driver
            .ask("DELETE", &format!("/session/{}", self.id), &Value::Null);
    }
}
