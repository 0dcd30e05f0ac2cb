//! Random changes to known inputs, the same for the same seed.

/// Words that a target's inputs are made of.
fn words(target: &str) -> &'static [&'static str] {
    match target {
        "wav" => &[
            "RIFF",
            "RF64",
            "WAVE",
            "fmt ",
            "data",
            "LIST",
            "ds64",
            "\u{1}\0\u{2}\0",
            "\u{3}\0\u{1}\0",
            " \0\0\0",
        ],
        "rig" | "use" | "standard" => &[
            "[exciter]",
            "[input]",
            "[mains]",
            "reference",
            "\"voltage\"",
            "\"current\"",
            "series_ohm",
            "inductance_h",
            "sense_ohm",
            "tolerance",
            "gain_db",
            "delay_s",
            "sign",
            "name",
            " = ",
            "nan",
            "inf",
            "-inf",
            "1e308",
            "-0.0",
            "0x7f",
            "[[",
            "\"\"\"",
            "1979-05-27",
            "\\u0000",
            "\u{1b}[2J",
            "true",
            "{}",
            ".",
        ],
        "load" => &[
            "vol=",
            "tone=",
            "tone-from=",
            "wiper",
            "hot",
            "bleed=",
            "cable=",
            "lead=",
            "amp=",
            "cap=",
            "res=",
            "@",
            "//",
            "|",
            "+",
            "*",
            ":audio",
            ":audio20",
            "250k",
            "22n",
            "4k7",
            "1e400",
            "1e-400",
            "nan",
            "inf",
            "-",
            "µ",
            "Ω",
            "p/ft",
            "m",
            "%",
            " ",
            "0",
            "18ft",
            "0.5",
            "9e307",
            "1e-308",
            "dB",
            "70F",
            "ppm",
        ],
        "record" | "checks" | "tray" | "notes" | "repeat" | "wax" | "sitting" => &[
            "null",
            "true",
            "-1",
            "1e308",
            "-1e308",
            "5e-324",
            "0.0",
            "[]",
            "{}",
            "\"\"",
            "coilwright/record/2",
            "\"../../elsewhere\"",
            "\"withdrawn\": true",
            "\"rejected\"",
            "\"eddy\"",
            "\"curve\"",
            "-0.0",
            "18446744073709551615",
            "\\u0000",
            "\\u001b[2J",
            "\\ud800",
            ",",
            ":",
            "[1,2]",
        ],
        _ => &[],
    }
}

const NUMBERS: [&str; 16] = [
    "0",
    "-0.0",
    "1",
    "-1",
    "0.5",
    "1e-3",
    "1e9",
    "-1e9",
    "1e308",
    "-1e308",
    "1e-308",
    "5e-324",
    "1e400",
    "20",
    "20000",
    "9007199254740993",
];

pub struct Mutator {
    state: u64,
    seeds: Vec<Vec<u8>>,
    words: &'static [&'static str],
    /// Inputs that are numbers rather than text: often made afresh.
    raw: bool,
}

impl Mutator {
    pub fn new(seed: u64, target: &str, seeds: Vec<Vec<u8>>) -> Self {
        let state = target.bytes().fold(seed ^ 0x5851_f42d_4c95_7f2d, |s, b| {
            (s ^ u64::from(b)).wrapping_mul(0x100_0000_01b3)
        });
        Mutator {
            state,
            seeds,
            words: words(target),
            raw: target == "analysis",
        }
    }

    /// SplitMix64.
    fn roll(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        (self.roll() % n.max(1) as u64) as usize
    }

    pub fn next(&mut self) -> Vec<u8> {
        if self.raw && self.below(16) > 0 {
            let n = 8 + self.below(56);
            return (0..n).map(|_| self.roll() as u8).collect();
        }
        let i = self.below(self.seeds.len());
        let mut input = self.seeds[i].clone();
        for _ in 0..1 + self.below(5) {
            self.change(&mut input);
        }
        // A recipe of a long take costs as much as fifty short ones: few of them.
        if self.raw
            && self.below(64) > 0
            && let Some(first) = input.first_mut()
        {
            *first |= 1;
        }
        input
    }

    fn change(&mut self, input: &mut Vec<u8>) {
        let at = self.below(input.len() + 1);
        let most = if self.below(4) == 0 { 64 } else { 6 };
        let n = 1 + self.below(most);
        let part = at..(at + n).min(input.len());
        match self.below(10) {
            0 => {
                if let Some(b) = input.get_mut(at) {
                    *b ^= 1 << (self.roll() % 8);
                }
            }
            1 => {
                if let Some(b) = input.get_mut(at) {
                    *b = self.roll() as u8;
                }
            }
            2 => drop(input.drain(part)),
            3 => {
                let twice = input[part].to_vec();
                input.splice(at..at, twice);
            }
            4 | 5 if !self.words.is_empty() => {
                let i = self.below(self.words.len());
                let word = self.words[i].bytes();
                // In place of something, or between.
                let gone = if self.below(2) == 0 { part } else { at..at };
                input.splice(gone, word);
            }
            6 => {
                // A number becomes another one, or has one digit changed.
                let digits: Vec<usize> = (0..input.len()).filter(|i| input[*i].is_ascii_digit()).collect();
                if digits.is_empty() {
                    return;
                }
                let i = digits[self.below(digits.len())];
                if self.below(2) == 0 {
                    input[i] = b"0123456789-.e"[self.below(13)];
                    return;
                }
                let of_number = |b: &u8| b.is_ascii_digit() || b"+-.eE".contains(b);
                let start = i - input[..i].iter().rev().take_while(|b| of_number(b)).count();
                let end = i + input[i..].iter().take_while(|b| of_number(b)).count();
                let number = NUMBERS[self.below(NUMBERS.len())].bytes();
                input.splice(start..end, number);
            }
            7 => {
                // Edges of integers, where one may stand.
                let edge = [
                    0u32,
                    1,
                    0xff,
                    0xffff,
                    0x7fff_ffff,
                    0x8000_0000,
                    u32::MAX,
                    44_100,
                    192_000,
                ][self.below(9)];
                for (i, b) in edge.to_le_bytes().into_iter().enumerate() {
                    if let Some(slot) = input.get_mut(at + i) {
                        *slot = b;
                    }
                }
            }
            8 => {
                // The rest of another input.
                let i = self.below(self.seeds.len());
                let from = self.below(self.seeds[i].len() + 1);
                let rest = self.seeds[i][from..].to_vec();
                input.truncate(at);
                input.extend(rest);
            }
            _ => input.truncate(at.max(1)),
        }
    }
}
