//! What is typed at a prompt, line by line; a prompt can be left by a signal too.

use std::io::{BufRead, Read};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use crate::capture::stop::Stop;

/// Nobody types more in one line.
const LONGEST: u64 = 64 << 10;
const POLL: Duration = Duration::from_millis(30);

/// What came of a prompt.
#[derive(Debug, PartialEq, Eq)]
pub enum Typed {
    /// Without the spaces around it.
    Text(String),
    /// Bytes that are no text: to be asked again.
    Slip,
    /// The end of the input, a Ctrl-C, a termination: the command ends, and keeps what it has.
    End,
}

/// Standard input. A thread reads it, so that waiting for a line can be ended.
pub struct Keys {
    lines: Receiver<Typed>,
    stop: Stop,
}

impl Keys {
    pub fn new(stop: Stop) -> Self {
        Keys::of(std::io::BufReader::new(std::io::stdin()), stop)
    }

    fn of(mut from: impl BufRead + Send + 'static, stop: Stop) -> Self {
        // Room for one: what is typed ahead stays with the terminal.
        let (send, lines) = sync_channel(1);
        std::thread::spawn(move || {
            loop {
                let line = next(&mut from);
                let last = line == Typed::End;
                if send.send(line).is_err() || last {
                    return;
                }
            }
        });
        Keys { lines, stop }
    }

    /// Waits for a line.
    pub fn line(&mut self) -> Typed {
        loop {
            if self.stop.asked() {
                return Typed::End;
            }
            match self.lines.recv_timeout(POLL) {
                Ok(typed) => return typed,
                Err(RecvTimeoutError::Disconnected) => return Typed::End,
                Err(RecvTimeoutError::Timeout) => {}
            }
        }
    }
}

fn next(from: &mut impl BufRead) -> Typed {
    let mut line = Vec::new();
    loop {
        match from.by_ref().take(LONGEST).read_until(b'\n', &mut line) {
            Ok(0) => break,
            Ok(_) if line.last() == Some(&b'\n') => break,
            // Of an endless line nothing is kept but that it is none.
            Ok(_) if line.len() as u64 >= LONGEST => line = vec![0xff],
            Ok(_) => {}
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(_) => return Typed::End,
        }
    }
    if line.is_empty() {
        return Typed::End;
    }
    match std::str::from_utf8(&line) {
        Ok(text) => Typed::Text(text.trim().to_owned()),
        Err(_) => Typed::Slip,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn text(t: &str) -> Typed {
        Typed::Text(t.into())
    }

    #[test]
    fn lines_slips_and_the_end() {
        let mut long = vec![b'x'; 3 * LONGEST as usize];
        long.extend(b"\n");
        let input = [b" 6.05k \n\n\xff\xfe\n".to_vec(), long, b"q".to_vec()].concat();
        let mut keys = Keys::of(Cursor::new(input), Stop::default());
        for want in [
            text("6.05k"),
            text(""),
            Typed::Slip,
            Typed::Slip,
            text("q"),
            Typed::End,
            Typed::End,
        ] {
            assert_eq!(keys.line(), want);
        }
    }

    #[test]
    fn a_prompt_is_left_when_asked_to_stop() {
        let stop = Stop::default();
        let mut keys = Keys::of(Cursor::new(b"one\ntwo\n".to_vec()), stop.clone());
        assert_eq!(keys.line(), text("one"));
        stop.press();
        assert_eq!(keys.line(), Typed::End);
        stop.heed();
        assert_eq!(keys.line(), text("two"));
    }
}
