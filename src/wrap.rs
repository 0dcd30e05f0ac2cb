//! Text in lines of a given width, on the terminal and in plots.

use unicode_width::UnicodeWidthChar;

/// Columns that a text takes on a terminal: two for a wide sign of East Asia, none for what stands above another.
pub fn columns(text: &str) -> usize {
    text.chars().filter_map(UnicodeWidthChar::width).sum()
}

/// As much of a text as so many columns hold.
pub fn cut(text: &str, room: usize) -> &str {
    let mut taken = 0;
    let beyond = |(_, c): &(usize, char)| {
        taken += c.width().unwrap_or(0);
        taken > room
    };
    let end = text.char_indices().find(beyond).map_or(text.len(), |(at, _)| at);
    &text[..end]
}

/// The same, filled up with spaces.
pub fn padded(text: &str, room: usize) -> String {
    let text = cut(text, room);
    text.to_owned() + &" ".repeat(room - columns(text))
}

/// A text in lines that fit, broken between words. What fits no line stands alone on one, whole.
pub fn lines(text: &str, fits: impl Fn(&str) -> bool) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for piece in pieces(text) {
        let longer = out.last().map(|line| format!("{line} {piece}")).filter(|l| fits(l));
        match (longer, out.last_mut()) {
            (Some(longer), Some(line)) => *line = longer,
            (None, Some(_)) if piece.is_empty() => {}
            _ => out.push(piece),
        }
    }
    // Two spaces between words may have come to the end of a line.
    out.iter_mut().for_each(|line| line.truncate(line.trim_end().len()));
    out
}

/// Every line of a text broken at so many columns, under its own indent; what is laid out with colour stays as it is.
pub fn indented(text: &str, width: usize) -> String {
    let broken = |line: &str| {
        if columns(line) <= width || line.contains('\u{1b}') {
            return line.to_owned();
        }
        let bare = line.trim_start();
        let indent = &line[..line.len() - bare.len()];
        let room = width.saturating_sub(columns(indent));
        let under: Vec<String> = lines(bare, |l| columns(l) <= room)
            .iter()
            .map(|l| format!("{indent}{}", l.trim()))
            .collect();
        under.join("\n")
    };
    text.split('\n').map(broken).collect::<Vec<_>>().join("\n")
}

/// The parts of a text that stay together on a line: words, and intervals with their units.
fn pieces(text: &str) -> Vec<String> {
    const UNITS: [&str; 14] = [
        "Hz", "kHz", "MHz", "dB", "H", "mH", "µH", "nH", "s", "ms", "µs", "ns", "%", "%)",
    ];
    let mut out: Vec<String> = Vec::new();
    for word in text.split(' ') {
        let bare = word.trim_end_matches([',', ';', ':', ')']);
        let unit = UNITS.contains(&bare) || UNITS.contains(&word);
        match out.last_mut() {
            Some(last) if word == "±" || last.ends_with('±') || unit => {
                last.push(' ');
                last.push_str(word);
            }
            _ => out.push(word.to_string()),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_intervals_stay_whole() {
        let of = |text: &str, room: usize| lines(text, |l| columns(l) <= room);
        assert_eq!(of("one two  three", 8), ["one two", "three"]);
        assert_eq!(of("", 8), [""]);
        assert_eq!(
            of("f0 is 4187.60 ± 0.47 Hz (95 %)", 17),
            ["f0 is", "4187.60 ± 0.47 Hz", "(95 %)"]
        );
        assert_eq!(
            of("in /a/folder/far/away it lies", 9),
            ["in", "/a/folder/far/away", "it lies"]
        );
    }

    #[test]
    fn wide_signs_take_two_columns_and_accents_none() {
        assert_eq!([columns("ネック 7"), columns("me\u{301}s")], [8, 3]);
        assert_eq!([cut("ネック 7", 3), cut("me\u{301}s", 2)], ["ネ", "me\u{301}"]);
        assert_eq!([padded("ネック", 5), padded("7", 3)], ["ネッ ", "7  "]);
    }

    #[test]
    fn lines_go_on_under_their_indent() {
        assert_eq!(indented("short\n  one two three\n", 9), "short\n  one two\n  three\n");
        let painted = "\u{1b}[1mone two three\u{1b}[0m";
        assert_eq!(indented(painted, 9), painted);
    }
}
