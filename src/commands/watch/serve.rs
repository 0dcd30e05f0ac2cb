//! The page's server: on this computer only, for whoever knows the address, and only to look at.

use std::io::Cursor;
use std::net::Ipv4Addr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use tiny_http::{Header, Method, Request, Response, Server};

use crate::failure::{Failure, Result};
use crate::report::watch::page::{NOW, PARTS};

/// Browsers that are answered at the same moment; one that does not take its answer holds up no other.
const HANDS: usize = 4;
const POLL: Duration = Duration::from_millis(200);
/// Letters of the address that nobody can guess: 5 bits each.
const WORD: usize = 26;
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";

/// What every answer carries: nothing from elsewhere, nothing for elsewhere, nothing kept.
const HEADERS: [(&str, &str); 7] = [
    (
        "Content-Security-Policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; \
         base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Referrer-Policy", "no-referrer"),
    ("Cache-Control", "no-store"),
];

/// What browsers are shown.
struct Board {
    /// The address's host and port, and its word.
    hosts: [String; 2],
    word: String,
    now: Mutex<Arc<[u8]>>,
    closed: AtomicBool,
}

/// A page that is served until this is dropped.
pub(super) struct Page {
    pub address: String,
    board: Arc<Board>,
}

impl Page {
    pub fn open(port: Option<u16>) -> Result<Page> {
        let asked = port.unwrap_or(0);
        let server = Server::http((Ipv4Addr::LOCALHOST, asked)).map_err(|e| {
            let why = match e.downcast_ref::<std::io::Error>() {
                Some(e) if e.kind() == std::io::ErrorKind::AddrInUse => "another program has it".into(),
                Some(e) => e.kind().to_string(),
                None => e.to_string(),
            };
            Failure::new(
                format!("the page cannot be served on port {asked}: {why}"),
                "leave --port out, and one that is free is taken",
            )
        })?;
        let port = server.server_addr().to_ip().map_or(asked, |a| a.port());
        let word = word()?;
        let board = Arc::new(Board {
            hosts: ["127.0.0.1", "localhost"].map(|h| format!("{h}:{port}")),
            word: word.clone(),
            now: Mutex::new(Arc::from(&b""[..])),
            closed: AtomicBool::new(false),
        });
        let server = Arc::new(server);
        for _ in 0..HANDS {
            let (server, board) = (server.clone(), board.clone());
            thread::spawn(move || serve(&server, &board));
        }
        Ok(Page {
            address: format!("http://127.0.0.1:{port}/{word}/"),
            board,
        })
    }

    /// What browsers see from now on.
    pub fn show(&self, now: Vec<u8>) {
        // A lock that somebody died with holds a whole value all the same.
        *self.board.now.lock().unwrap_or_else(PoisonError::into_inner) = now.into();
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        // Nobody waits for a hand that is stuck in a browser that reads nothing.
        self.board.closed.store(true, Ordering::Relaxed);
    }
}

fn word() -> Result<String> {
    let mut bytes = [0u8; WORD];
    getrandom::fill(&mut bytes).map_err(|e| {
        Failure::new(
            format!("the system gives no random numbers for the page's address: {e}"),
            "watch without --page",
        )
    })?;
    let letter = |b: &u8| char::from(LETTERS[usize::from(*b) % LETTERS.len()]);
    Ok(bytes.iter().map(letter).collect())
}

fn serve(server: &Server, board: &Board) {
    while !board.closed.load(Ordering::Relaxed) {
        if let Ok(Some(request)) = server.recv_timeout(POLL) {
            let answer = answer(&request, board);
            // A browser that has gone away asks for nothing more.
            let _ = request.respond(answer);
        }
    }
}

fn answer(request: &Request, board: &Board) -> Response<Cursor<Vec<u8>>> {
    let hosts: Vec<&str> = request
        .headers()
        .iter()
        .filter(|h| h.field.equiv("Host"))
        .map(|h| h.value.as_str())
        .collect();
    // Another site's name may be made to lead here: what it asks for names that site.
    if !matches!(hosts[..], [host] if board.hosts.iter().any(|h| h == host)) {
        return said(403, "text/plain", b"not for this host");
    }
    if request.method() != &Method::Get {
        return said(405, "text/plain", b"only to look at");
    }
    let name = request
        .url()
        .strip_prefix('/')
        .and_then(|u| u.strip_prefix(&board.word)?.strip_prefix('/'));
    if name == Some(NOW) {
        let now = board.now.lock().unwrap_or_else(PoisonError::into_inner).clone();
        return match now.is_empty() {
            true => said(503, "text/plain", b"nothing is seen yet"),
            false => said(200, "application/json", &now),
        };
    }
    match PARTS.iter().find(|p| name == Some(p.name)) {
        Some(part) => said(200, part.kind, part.text.as_bytes()),
        None => said(404, "text/plain", b"not here"),
    }
}

fn said(status: u16, kind: &str, body: &[u8]) -> Response<Cursor<Vec<u8>>> {
    let headers = HEADERS.iter().copied().chain([("Content-Type", kind)]);
    let mut response = Response::from_data(body).with_status_code(status);
    for (name, value) in headers {
        if let Ok(header) = Header::from_bytes(name, value) {
            response.add_header(header);
        }
    }
    response
}
