//! Reads a plot as an eye does: where the axis's own labels stand says which value lies where.

use std::ops::RangeInclusive;

/// Steps of the drawing's coordinates to a millimetre.
const STEPS: f64 = 20.0;
/// So far two things may lie apart, in steps: coordinates are whole numbers, at either end.
const NEAR: f64 = 2.1;

pub type Point = (f64, f64);

pub struct Text {
    pub at: Point,
    /// "start", "middle" or "end".
    anchor: String,
    pub words: String,
}

pub struct Shape {
    pub points: Vec<Point>,
    /// As "#14141C", of the line or of what fills it.
    pub colour: String,
}

/// Coordinates in steps.
pub struct Drawing {
    pub texts: Vec<Text>,
    pub lines: Vec<Shape>,
    pub areas: Vec<Shape>,
}

/// From values to places along one axis.
pub struct Axis {
    /// (value, place), as labelled.
    ticks: Vec<(f64, f64)>,
    logarithmic: bool,
}

pub struct Field {
    x: Option<Axis>,
    pub y: Axis,
    /// From side to side, from top to bottom.
    frame: [RangeInclusive<f64>; 2],
}

fn attribute<'a>(tag: &'a str, name: &str) -> &'a str {
    let from = tag
        .find(&format!(" {name}=\""))
        .unwrap_or_else(|| panic!("no {name} in {tag}"))
        + name.len()
        + 3;
    tag[from..].split('"').next().unwrap()
}

/// "-24", "+0.05" or "20k".
fn value(words: &str) -> Option<f64> {
    match words.strip_suffix('k') {
        Some(thousands) => thousands.parse::<f64>().ok().map(|v| v * 1e3),
        None => words.parse().ok(),
    }
}

impl Drawing {
    pub fn read(svg: &str) -> Self {
        let mut out = Drawing {
            texts: vec![],
            lines: vec![],
            areas: vec![],
        };
        for tag in svg.split('<').skip(1) {
            let shape = |colour: &str| Shape {
                points: attribute(tag, "points")
                    .split_whitespace()
                    .map(|p| p.split_once(',').unwrap())
                    .map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap()))
                    .collect(),
                colour: attribute(tag, colour).into(),
            };
            if tag.starts_with("polyline") {
                out.lines.push(shape("stroke"));
            } else if tag.starts_with("polygon") {
                out.areas.push(shape("fill"));
            } else if tag.starts_with("text") && !tag.contains("rotate") {
                let [x, y, size] = ["x", "y", "font-size"].map(|a| attribute(tag, a).parse::<f64>().unwrap());
                out.texts.push(Text {
                    // The middle of a digit: 0.36 em above the base line, which lies 0.76 em below y.
                    at: (x, y + (0.76 - 0.36) * size),
                    anchor: attribute(tag, "text-anchor").into(),
                    words: tag.split_once('>').unwrap().1.trim().into(),
                });
            }
        }
        assert!(out.texts.len() > 5 && out.lines.len() > 5, "{svg}");
        out
    }

    /// The field between these columns and rows, in millimetres, its labels included: numbers left of it and, where there
    /// are any, below.
    pub fn field(&self, columns: RangeInclusive<f64>, rows: RangeInclusive<f64>) -> Field {
        let inside = |p: &Point| columns.contains(&(p.0 / STEPS)) && rows.contains(&(p.1 / STEPS));
        let labels = |anchor: &str| -> Vec<(f64, Point)> {
            let of = |t: &&Text| t.anchor == anchor && columns.contains(&(t.at.0 / STEPS));
            self.texts
                .iter()
                .filter(of)
                .filter_map(|t| Some((value(&t.words)?, t.at)))
                .collect()
        };
        let mut up = labels("end");
        up.retain(|l| inside(&l.1));
        let left = up.iter().map(|l| l.1.0).fold(f64::INFINITY, f64::min);
        let up: Vec<_> = up
            .into_iter()
            .filter(|l| l.1.0 == left)
            .map(|(v, at)| (v, at.1))
            .collect();
        let across = labels("middle");
        let below = across.iter().map(|l| l.1.1).fold(f64::INFINITY, f64::min);
        let across: Vec<_> = across
            .into_iter()
            .filter(|l| l.1.1 == below)
            .map(|(v, at)| (v, at.0))
            .collect();
        let logarithmic = self.texts.iter().any(|t| t.words == "frequency (Hz)");
        let mut field = Field {
            y: Axis::new(up, false),
            x: (!across.is_empty()).then(|| Axis::new(across, logarithmic)),
            frame: [
                rows.start() * STEPS..=rows.end() * STEPS,
                rows.start() * STEPS..=rows.end() * STEPS,
            ],
        };
        // Every label has its line, from one side of the frame to the other.
        let straight = |on: fn(&Point) -> f64, along: fn(&Point) -> f64, at: f64| -> RangeInclusive<f64> {
            let level = |l: &&Shape| l.points.iter().all(|p| inside(p) && (on(p) - at).abs() <= NEAR);
            let line = self
                .lines
                .iter()
                .find(level)
                .unwrap_or_else(|| panic!("no line at the label at {at}"));
            let (a, b) = (along(&line.points[0]), along(&line.points[1]));
            a.min(b)..=a.max(b)
        };
        for (_, at) in &field.y.ticks {
            field.frame[0] = straight(|p| p.1, |p| p.0, *at);
        }
        for (_, at) in field.x.iter().flat_map(|x| &x.ticks) {
            field.frame[1] = straight(|p| p.0, |p| p.1, *at);
        }
        field
    }

    /// What is drawn in this colour inside a field.
    fn within<'a>(field: &Field, all: &'a [Shape], colour: &str) -> Vec<&'a Shape> {
        let of = |s: &&Shape| s.colour == colour && s.points.iter().all(|p| field.holds(*p));
        all.iter().filter(of).collect()
    }

    pub fn line(&self, field: &Field, colour: &str) -> Vec<Point> {
        Drawing::within(field, &self.lines, colour)
            .iter()
            .flat_map(|s| s.points.clone())
            .collect()
    }

    pub fn area(&self, field: &Field, colour: &str) -> Vec<Point> {
        let all = Drawing::within(field, &self.areas, colour);
        assert_eq!(all.len(), 1, "areas in {colour}");
        all[0].points.clone()
    }

    /// Middles of the small areas in a colour, those that are no larger than a marker.
    pub fn marks(&self, field: &Field, colour: &str) -> Vec<Point> {
        let middle = |s: &&Shape| {
            let span = |at: fn(&Point) -> f64| {
                let all = || s.points.iter().map(at);
                (
                    all().fold(f64::INFINITY, f64::min),
                    all().fold(f64::NEG_INFINITY, f64::max),
                )
            };
            let ((l, r), (t, b)) = (span(|p| p.0), span(|p| p.1));
            (r - l < 4.0 * STEPS && b - t < 4.0 * STEPS).then_some(((l + r) / 2.0, (t + b) / 2.0))
        };
        Drawing::within(field, &self.areas, colour)
            .iter()
            .filter_map(middle)
            .collect()
    }
}

impl Axis {
    fn new(mut ticks: Vec<(f64, f64)>, logarithmic: bool) -> Self {
        ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert!(ticks.len() > 1, "labels: {ticks:?}");
        let axis = Axis { ticks, logarithmic };
        // All labels lie on the way from the first to the last.
        for (v, at) in &axis.ticks {
            assert!((axis.place(*v) - at).abs() <= NEAR, "{v} at {at}: {:?}", axis.ticks);
        }
        axis
    }

    /// Where a value belongs.
    pub fn place(&self, value: f64) -> f64 {
        let on = |v: f64| if self.logarithmic { v.ln() } else { v };
        let (a, b) = (self.ticks[0], self.ticks[self.ticks.len() - 1]);
        a.1 + (on(value) - on(a.0)) / (on(b.0) - on(a.0)) * (b.1 - a.1)
    }

    /// What a place says.
    pub fn value(&self, place: f64) -> f64 {
        assert!(!self.logarithmic);
        let (a, b) = (self.ticks[0], self.ticks[self.ticks.len() - 1]);
        a.0 + (place - a.1) / (b.1 - a.1) * (b.0 - a.0)
    }
}

impl Field {
    fn at(&self, (x, y): (f64, f64)) -> Point {
        (self.x.as_ref().expect("labels below").place(x), self.y.place(y))
    }

    /// Top and bottom of the frame.
    pub fn ends(&self) -> (f64, f64) {
        (*self.frame[1].start(), *self.frame[1].end())
    }

    fn holds(&self, p: Point) -> bool {
        self.frame[0].contains(&p.0) && self.frame[1].contains(&p.1)
    }

    /// All that is drawn lies on the line through these values.
    #[track_caller]
    pub fn on(&self, what: &str, drawn: &[Point], values: &[(f64, f64)]) {
        let line: Vec<Point> = values.iter().map(|v| self.at(*v)).collect();
        assert!(line.len() > 1 && !drawn.is_empty(), "{what}: {} drawn", drawn.len());
        for p in drawn {
            let off = line
                .windows(2)
                .map(|w| distance(*p, w[0], w[1]))
                .fold(f64::INFINITY, f64::min);
            assert!(off <= NEAR, "{what}: {p:?} lies {off} off");
        }
    }

    /// As [`Field::on`], and so far as the line lies inside the field none of it is left out but the gaps of its dashes.
    #[track_caller]
    pub fn follows(&self, what: &str, drawn: &[Point], values: &[(f64, f64)]) {
        self.on(what, drawn, values);
        const GAP: f64 = 40.0;
        let well_inside = |p: &Point| {
            let [x, y] = &self.frame;
            p.0 > x.start() + NEAR && p.0 < x.end() - NEAR && p.1 > y.start() + GAP && p.1 < y.end() - GAP
        };
        let inside: Vec<Point> = values.iter().map(|v| self.at(*v)).filter(well_inside).collect();
        assert!(inside.len() > 1, "{what}: no value lies inside");
        for p in inside {
            let near = drawn.windows(2).any(|w| distance(p, w[0], w[1]) <= NEAR)
                || drawn.iter().any(|d| (d.0 - p.0).hypot(d.1 - p.1) <= GAP);
            assert!(near, "{what}: nothing is drawn at {p:?}");
        }
    }

    /// A mark stands at each of these values, and none elsewhere. Markers that point may have their middle a little off.
    #[track_caller]
    pub fn marked(&self, what: &str, drawn: &[Point], values: &[(f64, f64)]) {
        let near = |a: &Point, b: &Point| (a.0 - b.0).hypot(a.1 - b.1) <= 2.0 * NEAR;
        let places: Vec<Point> = values.iter().map(|v| self.at(*v)).collect();
        assert!(!places.is_empty(), "{what}");
        for p in &places {
            assert!(drawn.iter().any(|d| near(d, p)), "{what}: none at {p:?}: {drawn:?}");
        }
        for d in drawn {
            assert!(places.iter().any(|p| near(d, p)), "{what}: one at {d:?}: {places:?}");
        }
    }
}

/// From a point to the stretch between two others.
fn distance(p: Point, a: Point, b: Point) -> f64 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let length = dx * dx + dy * dy;
    let t = if length > 0.0 {
        ((p.0 - a.0) * dx + (p.1 - a.1) * dy) / length
    } else {
        0.0
    };
    let t = t.clamp(0.0, 1.0);
    (p.0 - a.0 - t * dx).hypot(p.1 - a.1 - t * dy)
}
