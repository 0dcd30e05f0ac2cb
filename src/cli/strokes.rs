//! Single keys, without Enter where a terminal can be asked for them. What is piped in counts as keys too.

use std::io::{IsTerminal, Read};
use std::sync::mpsc::{Receiver, sync_channel};

use crate::capture::stop::Stop;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    Char(char),
    Enter,
    Erase,
    Left,
    Right,
    Up,
    Down,
    /// Ctrl-C, or the end of the input.
    End,
}

pub struct Strokes {
    from: Receiver<Stroke>,
    /// Somebody sits at it.
    pub by_hand: bool,
}

impl Strokes {
    /// A Ctrl-C presses `stop` at once, whatever is going on.
    pub fn new(stop: Stop) -> Self {
        let by_hand = std::io::stdin().is_terminal();
        // What is typed ahead stays with the terminal.
        let (send, from) = sync_channel(16);
        std::thread::spawn(move || {
            let mut reader = Reader::default();
            for byte in std::io::stdin().lock().bytes() {
                let Ok(byte) = byte else { break };
                let Some(stroke) = reader.take(byte) else { continue };
                if stroke == Stroke::End {
                    stop.press();
                }
                if send.send(stroke).is_err() {
                    return;
                }
            }
            let _ = send.send(Stroke::End);
        });
        Strokes { from, by_hand }
    }

    /// The next key that has been struck.
    pub fn struck(&mut self) -> Option<Stroke> {
        self.from.try_recv().ok()
    }
}

/// Bytes as a terminal sends them, put together to keys.
#[derive(Default)]
struct Reader {
    /// Of a key that is not whole yet.
    bytes: Vec<u8>,
}

impl Reader {
    fn take(&mut self, byte: u8) -> Option<Stroke> {
        self.bytes.push(byte);
        let whole = match *self.bytes {
            [0x03 | 0x04] => Some(Stroke::End),
            [b'\r' | b'\n'] => Some(Stroke::Enter),
            [0x08 | 0x7f] => Some(Stroke::Erase),
            [0x1b] | [0x1b, b'[' | b'O'] => return None,
            [0x1b, b'[' | b'O', code] => match code {
                b'A' => Some(Stroke::Up),
                b'B' => Some(Stroke::Down),
                b'C' => Some(Stroke::Right),
                b'D' => Some(Stroke::Left),
                // The parameters of a key that means nothing here.
                b'0'..=b';' => {
                    self.bytes.pop();
                    return None;
                }
                _ => None,
            },
            // A lone Escape, and then a key.
            [0x1b, _] => {
                self.bytes.clear();
                return self.take(byte);
            }
            _ => match std::str::from_utf8(&self.bytes) {
                Ok(text) => text.chars().next().filter(|c| !c.is_control()).map(Stroke::Char),
                Err(e) if e.error_len().is_none() && self.bytes.len() < 4 => return None,
                Err(_) => None,
            },
        };
        self.bytes.clear();
        whole
    }
}

/// A terminal that hands over each key at once and does not show it, until this is dropped, however that comes about.
#[cfg(unix)]
pub struct Raw {
    before: rustix::termios::Termios,
}

#[cfg(unix)]
impl Raw {
    /// `None` where the input is no terminal.
    pub fn enter() -> Option<Raw> {
        use rustix::termios::{LocalModes, OptionalActions, SpecialCodeIndex, tcgetattr, tcsetattr};

        let stdin = std::io::stdin();
        let before = tcgetattr(&stdin).ok()?;
        let mut raw = before.clone();
        // A signal could end the process before the terminal is as it was: Ctrl-C is a key like any other here.
        raw.local_modes
            .remove(LocalModes::ICANON | LocalModes::ECHO | LocalModes::ISIG);
        raw.special_codes[SpecialCodeIndex::VMIN] = 1;
        raw.special_codes[SpecialCodeIndex::VTIME] = 0;
        tcsetattr(&stdin, OptionalActions::Now, &raw).ok()?;
        Some(Raw { before })
    }
}

#[cfg(unix)]
impl Drop for Raw {
    fn drop(&mut self) {
        use rustix::termios::{OptionalActions, tcsetattr};

        let _ = tcsetattr(std::io::stdin(), OptionalActions::Now, &self.before);
    }
}

/// Where no terminal can be asked, keys take effect with Enter.
#[cfg(not(unix))]
pub struct Raw;

#[cfg(not(unix))]
impl Raw {
    pub fn enter() -> Option<Raw> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_become_keys() {
        let mut reader = Reader::default();
        let bytes = b" k\x1b[D\x1bOC\x1b[1;5A\x1b[3~\x1bqn\xc3\xa9\x7f\r\xff\x03";
        let strokes: Vec<Stroke> = bytes.iter().filter_map(|b| reader.take(*b)).collect();
        let c = Stroke::Char;
        let want = [
            c(' '),
            c('k'),
            Stroke::Left,
            Stroke::Right,
            Stroke::Up,
            c('q'),
            c('n'),
            c('é'),
            Stroke::Erase,
            Stroke::Enter,
            Stroke::End,
        ];
        assert_eq!(strokes, want);
    }
}
