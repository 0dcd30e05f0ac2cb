//! Tables on a terminal: columns as wide as they have to be, one of them as wide as there is room.

use std::borrow::Cow;

use super::screen::{DIM, PLAIN, Screen};
use crate::wrap::{columns, cut};

/// The least that a shortened column is still read at.
const LEAST: usize = 14;

/// Head and body in columns, those of `left` to the left; `flexible` is cut where there is no room. `false`, with nothing said,
/// where the screen is too narrow even so.
pub(super) fn lines<const N: usize>(out: &mut Screen, rows: &[[String; N]], left: &[usize], flexible: usize) -> bool {
    let mut widths: [usize; N] = std::array::from_fn(|i| rows.iter().map(|r| columns(&r[i])).max().unwrap_or(0));
    let others: usize = widths.iter().sum::<usize>() - widths[flexible] + 2 * (N - 1);
    let room = out.style.usable().saturating_sub(others);
    if room < widths[flexible].min(LEAST) {
        return false;
    }
    widths[flexible] = widths[flexible].min(room);
    for (n, row) in rows.iter().enumerate() {
        let cells = row.iter().zip(widths).enumerate().map(|(i, (cell, width))| {
            let cell = shortened(cell, width);
            let gap = " ".repeat(width - columns(&cell));
            match left.contains(&i) {
                true => format!("{cell}{gap}  "),
                false => format!("{gap}{cell}  "),
            }
        });
        out.raw(cells.collect::<String>().trim_end(), if n == 0 { DIM } else { PLAIN });
    }
    true
}

fn shortened(s: &str, width: usize) -> Cow<'_, str> {
    if columns(s) <= width {
        return s.into();
    }
    format!("{}…", cut(s, width.saturating_sub(1)).trim_end()).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::text::Style;

    #[test]
    fn wide_names_keep_the_columns() {
        let of = |name: &str| {
            let rows = [["pickup", "Q"], [name, "2.1"], ["bridge 2", "12.3"]].map(|r| r.map(str::to_owned));
            let mut out = Screen::new(Style {
                width: 40,
                ..Style::default()
            });
            assert!(lines(&mut out, &rows, &[0], 0));
            out.text.lines().map(columns).collect::<Vec<_>>()
        };
        assert_eq!(of("ネック 7"), [14; 3]);
        assert_eq!(of(&"ネック".repeat(9)), [40, 40, 40]);
        // A sign of two columns does not go into one.
        assert_eq!(of(&"ネ".repeat(30)), [40, 40, 40]);
    }
}
