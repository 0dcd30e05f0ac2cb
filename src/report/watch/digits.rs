//! Figures three lines high, to be read across a room.

/// Three columns by five rows of dots, the top row first; one column is left between figures.
const DOTS: &[(char, [u8; 5])] = &[
    ('0', [0b111, 0b101, 0b101, 0b101, 0b111]),
    ('1', [0b010, 0b110, 0b010, 0b010, 0b111]),
    ('2', [0b111, 0b001, 0b111, 0b100, 0b111]),
    ('3', [0b111, 0b001, 0b111, 0b001, 0b111]),
    ('4', [0b101, 0b101, 0b111, 0b001, 0b001]),
    ('5', [0b111, 0b100, 0b111, 0b001, 0b111]),
    ('6', [0b111, 0b100, 0b111, 0b101, 0b111]),
    ('7', [0b111, 0b001, 0b010, 0b010, 0b010]),
    ('8', [0b111, 0b101, 0b111, 0b101, 0b111]),
    ('9', [0b111, 0b101, 0b111, 0b001, 0b111]),
    ('+', [0b000, 0b010, 0b111, 0b010, 0b000]),
    ('-', [0b000, 0b000, 0b111, 0b000, 0b000]),
];
/// The point takes one column only.
const POINT: [u8; 5] = [0, 0, 0, 0, 1];

/// The three lines; `None` where a character has no large figure.
pub(super) fn large(text: &str) -> Option<[String; 3]> {
    let mut lines: [String; 3] = Default::default();
    for c in text.chars() {
        let (rows, columns) = match c {
            '.' => (POINT, 1),
            c => (DOTS.iter().find(|d| d.0 == c)?.1, 3),
        };
        for (i, line) in lines.iter_mut().enumerate() {
            for column in (0..columns).rev() {
                let dot = |row: usize| rows.get(row).is_some_and(|r| (r >> column) & 1 == 1);
                line.push(match (dot(2 * i), dot(2 * i + 1)) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => ' ',
                });
            }
            line.push(' ');
        }
    }
    Some(lines)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_drawn_in_three_lines_of_one_width() {
        let lines = large("+4.1").unwrap();
        assert_eq!(lines, [" ▄  █ █   ▄█  ", "▀█▀ ▀▀█    █  ", "      ▀ ▀ ▀▀▀ "]);
        assert!(large("none").is_none());
    }
}
