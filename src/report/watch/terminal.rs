//! The picture on a terminal, from 40 columns on.

use anstyle::{AnsiColor, Style as Paint};

use super::braille::{Canvas, Pen};
use super::digits;
use super::view::{FROM_HZ, Figure, HeldView, TO_HZ, View};
use crate::wrap::{self, columns, padded};

const BOLD: Paint = Paint::new().bold();
const DIM: Paint = Paint::new().dimmed();
const STOP: Paint = AnsiColor::Red.on_default().bold();
/// The curve of now, and those that are held; a letter at each tells them apart without colour.
const NOW: Paint = Paint::new().bold();
const HELD: [Paint; 4] = [
    AnsiColor::Cyan.on_default(),
    AnsiColor::Yellow.on_default(),
    AnsiColor::Magenta.on_default(),
    AnsiColor::Green.on_default(),
];
/// Columns of dots from one dot of a held curve to the next.
const APART: [usize; 4] = [2, 3, 4, 5];

/// Columns of a large figure, and of the levels beside the curve.
const CELL: usize = 20;
const SCALE: usize = 5;
/// Lines that the curve needs.
const LEAST_CURVE: usize = 5;
/// The levels that are always seen.
const LOW_DB: f64 = -20.0;
const HIGH_DB: f64 = 12.0;

/// The lines of a picture that fills so many columns and at most so many lines.
pub fn frame(view: &View, keys: &str, (width, height): (usize, usize)) -> Vec<String> {
    let mut out = vec![title(view, width)];
    let rest = 2 + view.held.len();
    let large = large(view, width).filter(|lines| 1 + lines.len() + rest + LEAST_CURVE <= height);
    out.extend(large.unwrap_or_else(|| small(view, width)));
    let room = height.saturating_sub(out.len() + rest).max(LEAST_CURVE);
    out.extend(curve(view, width, room));
    out.extend(view.held.iter().enumerate().map(|(i, h)| held(h, i, width)));
    out.push(painted(BOLD, &cut(&view.said, width)));
    out.push(painted(DIM, &cut(keys, width)));
    out
}

fn painted(paint: Paint, text: &str) -> String {
    match text.is_empty() {
        true => String::new(),
        false => format!("{paint}{text}{paint:#}"),
    }
}

/// As much of a text as fits; no control character of a name reaches the terminal.
fn cut(text: &str, width: usize) -> String {
    let shown: String = text.chars().filter(|c| !c.is_control()).collect();
    wrap::cut(&shown, width).to_owned()
}

fn title(view: &View, width: usize) -> String {
    let state = cut(&view.state_words, width);
    let name = padded(&cut(&view.title, width), width.saturating_sub(columns(&state) + 2));
    let paint = if view.state == "trouble" { STOP } else { BOLD };
    let gap = if columns(&state) + 2 <= width { "  " } else { "" };
    format!("{name}{gap}{}", painted(paint, &state))
}

/// Grey while the window spans a change.
fn paint(view: &View) -> Paint {
    if view.state == "steady" { BOLD } else { DIM }
}

/// Figures three lines high, as many beside each other as fit; empty ones where it moves, so that nothing jumps.
fn large(view: &View, width: usize) -> Option<Vec<String>> {
    let beside = (width / CELL).clamp(1, 4);
    let mut out = Vec::new();
    if view.figures.is_empty() {
        let word = if view.state == "moving" { "M O V I N G" } else { "" };
        let lines = 5 * 4usize.div_ceil(beside);
        out.resize(lines, String::new());
        out[lines / 2] = painted(BOLD, word);
        return Some(out);
    }
    for row in view.figures.chunks(beside) {
        let cells: Option<Vec<[String; 3]>> = row.iter().map(|f| digits::large(&f.value)).collect();
        let cells = cells?;
        let line = |of: &dyn Fn(usize, &Figure) -> String| -> String {
            let each = row.iter().enumerate();
            each.map(|(i, f)| padded(&of(i, f), CELL)).collect()
        };
        let head = |f: &Figure| match f.unit.is_empty() {
            true => f.label.to_owned(),
            false => format!("{}, {}", f.label, f.unit),
        };
        out.push(line(&|_, f| head(f)));
        for k in 0..3 {
            out.push(painted(paint(view), &line(&|i, _| cells[i][k].clone())));
        }
        out.push(line(&|_, f| f.within.clone()));
    }
    Some(out)
}

/// The same in lines of text, where there is no room.
fn small(view: &View, width: usize) -> Vec<String> {
    if view.figures.is_empty() {
        return vec![String::new(), painted(BOLD, &cut(&view.state_words, width))];
    }
    let one = |f: &Figure| match f.within.is_empty() {
        true => format!("{} {} {}", f.label, f.value, f.unit),
        false => format!("{} {}", f.label, f.within),
    };
    let half = |f: &Figure| padded(&one(f), width / 2);
    let rows = view
        .figures
        .chunks(2)
        .map(|pair| pair.iter().map(half).collect::<String>());
    rows.map(|row| painted(paint(view), &row)).collect()
}

fn curve(view: &View, width: usize, rows: usize) -> Vec<String> {
    let all = view.curve.iter().chain(view.held.iter().map(|h| &h.curve));
    let top = all.flat_map(|l| &l.db).copied().fold(HIGH_DB, f64::max);
    let high = (top / 4.0).ceil() * 4.0;
    let mut canvas = Canvas::new(width - SCALE, rows - 1, [FROM_HZ, TO_HZ], [LOW_DB, high]);
    for (i, h) in view.held.iter().enumerate() {
        canvas.draw(&h.curve, 1 + i, Pen::Dotted(APART[i % APART.len()]));
        let points = h.curve.hz.iter().zip(&h.curve.db);
        if let Some((hz, db)) = points.max_by(|a, b| a.1.total_cmp(b.1)) {
            canvas.mark(*hz, *db, h.mark);
        }
    }
    if let Some(line) = &view.curve {
        canvas.draw(line, 0, Pen::Whole);
    }
    let mut labels = vec![String::new(); rows - 1];
    let step = if rows > 12 { 6.0 } else { 12.0 };
    let mut db = (LOW_DB / step).ceil() * step;
    while db <= high {
        if let Some(label) = canvas.row(db).and_then(|r| labels.get_mut(r)) {
            *label = if db == 0.0 { "0".into() } else { format!("{db:+.0}") };
        }
        db += step;
    }
    let paint_of = |whose: Option<usize>| match whose {
        Some(0) if view.state == "steady" => NOW,
        Some(0) => DIM,
        Some(n) => HELD[(n - 1) % HELD.len()],
        None => Paint::new(),
    };
    let row = |(r, label): (usize, &String)| {
        let runs = canvas.runs(r).into_iter().map(|(whose, text)| match whose {
            None => text,
            _ => painted(paint_of(whose), &text),
        });
        format!("{label:>w$} {}", runs.collect::<String>(), w = SCALE - 1)
    };
    let mut out: Vec<String> = labels.iter().enumerate().map(row).collect();
    out.push(frequencies(&canvas, width));
    out
}

fn frequencies(canvas: &Canvas, width: usize) -> String {
    let mut line = vec![' '; width];
    line.iter_mut().zip("dB".chars()).for_each(|(a, b)| *a = b);
    let labels = [
        (200.0, "200"),
        (500.0, "500"),
        (1e3, "1k"),
        (2e3, "2k"),
        (3e3, "3k"),
        (5e3, "5k"),
        (1e4, "10k"),
        (2e4, "20k Hz"),
    ];
    let mut free = SCALE - 1;
    for (hz, label) in labels {
        let at = canvas.column(hz).map(|c| (c + SCALE).min(width - label.len()));
        if let Some(at) = at.filter(|at| *at > free) {
            line.iter_mut().skip(at).zip(label.chars()).for_each(|(a, b)| *a = b);
            free = at + label.len();
        }
    }
    line.into_iter().collect()
}

fn held(h: &HeldView, i: usize, width: usize) -> String {
    let words = match h.apart.is_empty() {
        true => h.figures.clone(),
        false => format!("now {}", h.apart),
    };
    let text = cut(&format!("{}  {}: {words}", h.mark, h.name), width);
    painted(HELD[i % HELD.len()], &text)
}
