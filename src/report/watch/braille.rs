//! Curves in braille characters: two by four dots in each.

use super::view::Line;

/// What a curve is drawn on.
pub(super) struct Canvas {
    columns: usize,
    rows: usize,
    /// Dots of each character, and whose they are; 0 is the curve of now, which lies on top.
    cells: Vec<(u8, usize)>,
    marks: Vec<(usize, usize, char)>,
    pub hz: [f64; 2],
    pub db: [f64; 2],
}

/// Dots of a character, from the left column down.
const DOT: [[u8; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];
/// Whose the cells are that nobody drew in.
const NOBODY: usize = usize::MAX;

/// How a curve is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pen {
    Whole,
    /// Every so many columns of dots.
    Dotted(usize),
}

impl Canvas {
    pub fn new(columns: usize, rows: usize, hz: [f64; 2], db: [f64; 2]) -> Self {
        Canvas {
            columns,
            rows,
            cells: vec![(0, NOBODY); columns * rows],
            marks: Vec::new(),
            hz,
            db,
        }
    }

    /// Column of dots of a frequency.
    fn x(&self, hz: f64) -> f64 {
        let [from, to] = self.hz;
        (hz / from).ln() / (to / from).ln() * (2 * self.columns - 1) as f64
    }

    /// Row of dots of a level, from the top.
    fn y(&self, db: f64) -> f64 {
        let [low, high] = self.db;
        (high - db) / (high - low) * (4 * self.rows - 1) as f64
    }

    /// Column of characters of a frequency, where it is on the canvas.
    pub fn column(&self, hz: f64) -> Option<usize> {
        let x = self.x(hz).round();
        (x >= 0.0 && x < (2 * self.columns) as f64).then_some(x as usize / 2)
    }

    /// Row of characters of a level.
    pub fn row(&self, db: f64) -> Option<usize> {
        let y = self.y(db).round();
        (y >= 0.0 && y < (4 * self.rows) as f64).then_some(y as usize / 4)
    }

    fn dot(&mut self, x: usize, y: usize, whose: usize) {
        let cell = self.cells.get_mut(y / 4 * self.columns + x / 2);
        if let Some(cell) = cell.filter(|cell| whose <= cell.1) {
            let dots = if whose == cell.1 { cell.0 } else { 0 };
            *cell = (dots | DOT[x % 2][y % 4], whose);
        }
    }

    /// Draws a curve; those with a smaller number lie on top.
    pub fn draw(&mut self, line: &Line, whose: usize, pen: Pen) {
        let mut before: Option<usize> = None;
        for x in 0..2 * self.columns {
            let share = x as f64 / (2 * self.columns - 1) as f64;
            let hz = self.hz[0] * (self.hz[1] / self.hz[0]).powf(share);
            let y = level(line, hz).map(|db| self.y(db).round());
            let Some(y) = y.filter(|y| *y >= 0.0 && *y < (4 * self.rows) as f64) else {
                before = None;
                continue;
            };
            let y = y as usize;
            let from = match pen {
                Pen::Whole => before.unwrap_or(y),
                Pen::Dotted(every) if x % every == 0 => y,
                Pen::Dotted(_) => continue,
            };
            // Steep parts are joined.
            (from.min(y)..=from.max(y)).for_each(|y| self.dot(x, y, whose));
            before = Some(y);
        }
    }

    /// A letter in the place of dots.
    pub fn mark(&mut self, hz: f64, db: f64, letter: char) {
        if let (Some(column), Some(row)) = (self.column(hz), self.row(db)) {
            self.marks.push((row.saturating_sub(1), column, letter));
        }
    }

    /// The characters of a row in runs of one owner.
    pub fn runs(&self, row: usize) -> Vec<(Option<usize>, String)> {
        let mut out: Vec<(Option<usize>, String)> = Vec::new();
        for column in 0..self.columns {
            let (dots, whose) = self.cells[row * self.columns + column];
            let letter = self.marks.iter().rfind(|m| (m.0, m.1) == (row, column)).map(|m| m.2);
            let braille = char::from_u32(0x2800 + u32::from(dots)).unwrap_or(' ');
            let c = letter.unwrap_or(if dots == 0 { ' ' } else { braille });
            let owner = (whose != NOBODY && letter.is_none()).then_some(whose);
            match out.last_mut().filter(|last| last.0 == owner) {
                Some(last) => last.1.push(c),
                None => out.push((owner, c.to_string())),
            }
        }
        out
    }
}

/// The level at a frequency, between the points.
fn level(line: &Line, hz: f64) -> Option<f64> {
    let after = line.hz.iter().position(|f| *f >= hz)?;
    let (f1, d1) = (line.hz[after], *line.db.get(after)?);
    let Some(before) = after.checked_sub(1) else {
        return (f1 <= hz * 1.02).then_some(d1);
    };
    let (f0, d0) = (line.hz[before], *line.db.get(before)?);
    // A gap of more than a third of an octave is none of the curve.
    (f1 / f0 < 1.26).then(|| d0 + (d1 - d0) * (hz / f0).ln() / (f1 / f0).ln())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(level: f64) -> Line {
        let hz: Vec<f64> = (0..200).map(|i| 200.0 * 1.024f64.powi(i)).collect();
        Line {
            db: vec![level; hz.len()],
            hz,
        }
    }

    #[test]
    fn a_level_is_drawn_in_its_row_and_the_curve_of_now_lies_on_top() {
        let mut c = Canvas::new(10, 5, [200.0, 20_000.0], [-10.0, 10.0]);
        c.draw(&at(9.0), 1, Pen::Whole);
        c.draw(&at(0.0), 1, Pen::Dotted(3));
        c.draw(&at(0.0), 0, Pen::Whole);
        assert_eq!(c.runs(0), [(Some(1), "⠒".repeat(10))]);
        assert_eq!(c.runs(2).iter().map(|r| r.0).collect::<Vec<_>>(), [Some(0)]);
        assert_eq!(c.runs(4), [(None, " ".repeat(10))]);
        // Half way between 200 Hz and 20 kHz on a logarithmic axis.
        assert_eq!(c.column(2000.0), Some(5));
        assert_eq!(c.row(10.0), Some(0));
    }
}
