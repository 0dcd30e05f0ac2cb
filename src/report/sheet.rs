//! A drawing in millimetres, written as SVG or PNG. Everything is drawn once into a list and then rendered twice.
//!
//! Shapes go through plotters' backends. The bitmap one is drawn at twice the size and averaged down, which smooths
//! edges; its text is set here, because plotters leaves out the glyphs' side bearings and the letters look uneven.

use std::sync::OnceLock;

use ab_glyph::{Font, FontRef, Glyph, PxScale, ScaleFont, point};
pub use plotters::prelude::RGBColor as Rgb;
use plotters::prelude::{BitMapBackend, DrawingBackend, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont, TextStyle};

use super::reads::Reads;
use crate::failure::{Failure, Result};

static FONT: &[u8] = include_bytes!("font/DejaVuSans-subset.ttf");

/// 254 dots per inch.
const DOTS_PER_MM: u32 = 10;
/// The bitmap's shapes are drawn this many times larger.
const OVERSIZE: u32 = 2;
/// Steps of the SVG's coordinates, which plotters keeps as whole numbers.
const STEPS_PER_MM: u32 = 20;

/// One drawing in two formats.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    pub svg: String,
    pub png: Vec<u8>,
    /// Where it has curves.
    pub reads: Option<Reads>,
}

/// Millimetres, from the upper left corner.
pub type Point = (f64, f64);

/// The corners of a rectangle.
pub fn rectangle([left, right]: [f64; 2], [top, bottom]: [f64; 2]) -> Vec<Point> {
    vec![(left, top), (right, top), (right, bottom), (left, bottom)]
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Left,
    Centre,
    Right,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pen {
    pub colour: Rgb,
    /// In millimetres.
    pub width: f64,
    /// Lengths of strokes and gaps in turn, in millimetres; empty for a solid line.
    pub dash: &'static [f64],
}

impl Pen {
    pub const fn new(colour: Rgb, width: f64, dash: &'static [f64]) -> Self {
        Pen { colour, width, dash }
    }

    pub const fn solid(colour: Rgb, width: f64) -> Self {
        Pen::new(colour, width, &[])
    }
}

/// Lettering: the size is the em in millimetres (7 points are 2.47 mm).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Type {
    pub size: f64,
    pub colour: Rgb,
    pub anchor: Anchor,
    /// Reads upwards.
    pub vertical: bool,
}

impl Type {
    pub const fn new(size: f64, colour: Rgb, anchor: Anchor) -> Self {
        Type {
            size,
            colour,
            anchor,
            vertical: false,
        }
    }
}

enum Item {
    Line(Vec<Point>, Pen),
    Area(Vec<Point>, Rgb),
    /// The point is the anchor on the base line.
    Text(Point, String, Type),
}

pub struct Sheet {
    width: u32,
    height: u32,
    title: String,
    items: Vec<Item>,
    /// What a pointer can read off it.
    pub reads: Option<Reads>,
}

impl Sheet {
    /// A white sheet of this size in millimetres; the title is for those who cannot see the picture.
    pub fn new(width: u32, height: u32, title: &str) -> Self {
        Sheet {
            width,
            height,
            title: printable(title),
            items: Vec::new(),
            reads: None,
        }
    }

    /// Points that are no numbers are left out.
    pub fn line(&mut self, points: Vec<Point>, pen: Pen) {
        let points = finite(points);
        if points.len() < 2 {
            return;
        }
        if pen.dash.is_empty() {
            self.items.push(Item::Line(points, pen));
        } else {
            for stroke in strokes(&points, pen.dash) {
                self.items.push(Item::Line(stroke, pen));
            }
        }
    }

    /// Side by side: a path that comes back to its start is drawn too thin on one of them.
    pub fn outline(&mut self, corners: Vec<Point>, pen: Pen) {
        for (i, corner) in corners.iter().enumerate() {
            self.line(vec![*corner, corners[(i + 1) % corners.len()]], pen);
        }
    }

    pub fn area(&mut self, points: Vec<Point>, colour: Rgb) {
        let points = finite(points);
        if points.len() > 2 {
            self.items.push(Item::Area(points, colour));
        }
    }

    pub fn text(&mut self, at: Point, text: &str, kind: Type) {
        let text = printable(text);
        if !text.is_empty() && at.0.is_finite() && at.1.is_finite() {
            self.items.push(Item::Text(at, text, kind));
        }
    }

    /// Cut to the width, with "…" where something is missing.
    pub fn cut(&mut self, at: Point, text: &str, width: f64, kind: Type) {
        self.text(at, &fitted(text, kind.size, width), kind);
    }

    pub fn render(self) -> Result<Plot> {
        Ok(Plot {
            svg: self.svg()?,
            png: self.png()?,
            reads: self.reads,
        })
    }

    fn svg(&self) -> Result<String> {
        let mut out = String::new();
        let k = f64::from(STEPS_PER_MM);
        let (w, h) = (self.width * STEPS_PER_MM, self.height * STEPS_PER_MM);
        {
            let mut back = SVGBackend::with_string(&mut out, (w, h));
            let white = Rgb(255, 255, 255).filled();
            back.draw_rect((0, 0), (w as i32, h as i32), &white, true)
                .map_err(failed)?;
            for item in &self.items {
                match item {
                    Item::Text(at, text, kind) => svg_text(&mut back, *at, text, kind)?,
                    shape => draw_shape(&mut back, shape, k)?,
                }
            }
            back.present().map_err(failed)?;
        }
        // Paper size instead of pixels, round joints, and a title.
        let Some(end) = out.find('>') else {
            return Err(failed("no SVG element"));
        };
        let head = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {w} {h}\" \
             stroke-linejoin=\"round\" role=\"img\">\n<title>{}</title>",
            self.width,
            self.height,
            escaped(&self.title)
        );
        out.replace_range(..=end, &head);
        Ok(out)
    }

    fn png(&self) -> Result<Vec<u8>> {
        let (w, h) = (self.width * DOTS_PER_MM, self.height * DOTS_PER_MM);
        let (big_w, big_h) = (w * OVERSIZE, h * OVERSIZE);
        let mut big = vec![255u8; big_w as usize * big_h as usize * 3];
        {
            let mut back = BitMapBackend::with_buffer(&mut big, (big_w, big_h));
            let k = f64::from(DOTS_PER_MM * OVERSIZE);
            for item in &self.items {
                if !matches!(item, Item::Text(..)) {
                    draw_shape(&mut back, item, k)?;
                }
            }
            back.present().map_err(failed)?;
        }
        let mut page = Page {
            pixels: halved(&big, w as usize, h as usize),
            width: w as usize,
            height: h as usize,
        };
        drop(big);
        for item in &self.items {
            if let Item::Text(at, text, kind) = item {
                page.text(*at, text, kind)?;
            }
        }
        page.encode()
    }
}

fn finite(mut points: Vec<Point>) -> Vec<Point> {
    points.retain(|p| p.0.is_finite() && p.1.is_finite());
    points
}

/// Control characters would break an XML file, and line breaks a caption.
fn printable(text: &str) -> String {
    let bad = |c: char| {
        c.is_control()
            || matches!(c, '\u{fffe}' | '\u{ffff}' | '\u{200e}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.chars().map(|c| if bad(c) { ' ' } else { c }).collect()
}

/// As text of XML, or between quotes.
pub(super) fn escaped(text: &str) -> String {
    let marks = [('&', "&amp;"), ('<', "&lt;"), ('>', "&gt;"), ('"', "&quot;")];
    marks
        .iter()
        .fold(text.to_owned(), |text, (c, name)| text.replace(*c, name))
}

fn failed(e: impl std::fmt::Display) -> Failure {
    Failure::new(
        format!("cannot draw the plot: {e}"),
        "this is a fault of the program, please report it",
    )
}

/// `k` dots per millimetre.
fn draw_shape<D: DrawingBackend>(back: &mut D, item: &Item, k: f64) -> Result<()> {
    let dots = |points: &[Point]| {
        let mut out: Vec<(i32, i32)> = points
            .iter()
            .map(|p| ((p.0 * k).round() as i32, (p.1 * k).round() as i32))
            .collect();
        out.dedup();
        out
    };
    match item {
        Item::Line(points, pen) => {
            let points = dots(points);
            if points.len() > 1 {
                let width = (pen.width * k).round().max(1.0) as u32;
                let style = pen.colour.filled().stroke_width(width);
                back.draw_path(points, &style).map_err(failed)?;
            }
        }
        Item::Area(points, colour) => {
            let points = dots(points);
            if points.len() > 2 {
                back.fill_polygon(points, &colour.filled()).map_err(failed)?;
            }
        }
        Item::Text(..) => {}
    }
    Ok(())
}

fn svg_text(back: &mut SVGBackend, at: Point, text: &str, kind: &Type) -> Result<()> {
    let k = f64::from(STEPS_PER_MM);
    let h_pos = match kind.anchor {
        Anchor::Left => HPos::Left,
        Anchor::Centre => HPos::Center,
        Anchor::Right => HPos::Right,
    };
    // plotters writes size/1.24 as font size and, for the upper anchor, moves the base line down by 0.76 em.
    let mut font = ("sans-serif", kind.size * k * 1.24).into_font();
    let drop = 0.76 * kind.size;
    let at = if kind.vertical {
        font = font.transform(plotters::style::FontTransform::Rotate270);
        (at.0 - drop, at.1)
    } else {
        (at.0, at.1 - drop)
    };
    let style = TextStyle::from(font)
        .color(&kind.colour)
        .pos(Pos::new(h_pos, VPos::Top));
    // XML folds runs of spaces into one.
    let text = text.replace("  ", "\u{a0} ");
    back.draw_text(&text, &style, ((at.0 * k).round() as i32, (at.1 * k).round() as i32))
        .map_err(failed)
}

/// Cuts a line into the strokes of a dash pattern.
fn strokes(points: &[Point], dash: &[f64]) -> Vec<Vec<Point>> {
    let mut out = Vec::new();
    let mut current = Vec::new();
    let (mut phase, mut left) = (0, dash.first().copied().unwrap_or(1.0).max(0.05));
    for pair in points.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let length = (b.0 - a.0).hypot(b.1 - a.1);
        if current.is_empty() && phase % 2 == 0 {
            current.push(a);
        }
        let mut done = 0.0;
        while length - done > left {
            done += left;
            let t = done / length;
            let p = (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
            current.push(p);
            if phase % 2 == 0 {
                out.push(std::mem::take(&mut current));
            }
            phase += 1;
            left = dash[phase % dash.len()].max(0.05);
        }
        left -= length - done;
        if phase % 2 == 0 {
            current.push(b);
        }
    }
    if current.len() > 1 {
        out.push(current);
    }
    out
}

/// Averages squares of 2 x 2 dots.
fn halved(big: &[u8], w: usize, h: usize) -> Vec<u8> {
    let mut out = Vec::with_capacity(w * h * 3);
    let stride = w * 2 * 3;
    for rows in big.chunks_exact(2 * stride).take(h) {
        let (upper, lower) = rows.split_at(stride);
        for (u, l) in upper.chunks_exact(6).zip(lower.chunks_exact(6)) {
            for c in 0..3 {
                let sum = u16::from(u[c]) + u16::from(u[c + 3]) + u16::from(l[c]) + u16::from(l[c + 3]);
                out.push(((sum + 2) / 4) as u8);
            }
        }
    }
    out
}

struct Page {
    pixels: Vec<u8>,
    width: usize,
    height: usize,
}

impl Page {
    fn text(&mut self, at: Point, text: &str, kind: &Type) -> Result<()> {
        let font = font().ok_or_else(|| failed("its font cannot be read"))?;
        let k = f64::from(DOTS_PER_MM);
        let width = text_width(text, kind.size) * k;
        let shift = match kind.anchor {
            Anchor::Left => 0.0,
            Anchor::Centre => -width / 2.0,
            Anchor::Right => -width,
        };
        let scale = scale(font, kind.size * k);
        let scaled = font.as_scaled(scale);
        let (x0, y0) = (at.0 * k, at.1 * k);
        // Along the line and across it; whole dots go to the page, the rest stays with the glyph.
        let (along0, across0) = if kind.vertical { (-y0, x0) } else { (x0, y0) };
        let mut along = (along0 + shift) as f32;
        for c in text.chars() {
            let id = scaled.glyph_id(c);
            let glyph = Glyph {
                id,
                scale,
                position: point(along, across0.round() as f32),
            };
            along += scaled.h_advance(id);
            let Some(outline) = font.outline_glyph(glyph) else {
                continue;
            };
            let bounds = outline.px_bounds();
            outline.draw(|gx, gy, cover| {
                let a = bounds.min.x as i64 + i64::from(gx);
                let b = bounds.min.y as i64 + i64::from(gy);
                let (x, y) = if kind.vertical { (b, -a) } else { (a, b) };
                self.blend(x, y, kind.colour, cover);
            });
        }
        Ok(())
    }

    fn blend(&mut self, x: i64, y: i64, colour: Rgb, cover: f32) {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else {
            return;
        };
        if x >= self.width || y >= self.height {
            return;
        }
        let i = (y * self.width + x) * 3;
        if let Some(pixel) = self.pixels.get_mut(i..i + 3) {
            let cover = cover.clamp(0.0, 1.0);
            for (p, c) in pixel.iter_mut().zip([colour.0, colour.1, colour.2]) {
                *p = (f32::from(*p) * (1.0 - cover) + f32::from(c) * cover).round() as u8;
            }
        }
    }

    fn encode(&self) -> Result<Vec<u8>> {
        let mut out = Vec::new();
        let mut encoder = png::Encoder::new(&mut out, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Default);
        encoder.set_filter(png::FilterType::NoFilter);
        encoder.set_pixel_dims(Some(png::PixelDimensions {
            xppu: DOTS_PER_MM * 1000,
            yppu: DOTS_PER_MM * 1000,
            unit: png::Unit::Meter,
        }));
        let mut writer = encoder.write_header().map_err(failed)?;
        writer.write_image_data(&self.pixels).map_err(failed)?;
        writer.finish().map_err(failed)?;
        Ok(out)
    }
}

fn font() -> Option<&'static FontRef<'static>> {
    static PARSED: OnceLock<Option<FontRef<'static>>> = OnceLock::new();
    PARSED.get_or_init(|| FontRef::try_from_slice(FONT).ok()).as_ref()
}

/// ab_glyph scales by ascent minus descent, not by the em.
fn scale(font: &FontRef<'static>, em: f64) -> PxScale {
    let units = font.units_per_em().unwrap_or(2048.0);
    PxScale::from(em as f32 * font.height_unscaled() / units)
}

/// In millimetres, as the embedded font sets it; most viewers' sans-serif is narrower.
pub fn text_width(text: &str, size: f64) -> f64 {
    let Some(font) = font() else {
        return text.chars().count() as f64 * size * 0.6;
    };
    let units = f64::from(font.units_per_em().unwrap_or(2048.0));
    let advance = |c: char| f64::from(font.h_advance_unscaled(font.glyph_id(c)));
    text.chars().map(advance).sum::<f64>() / units * size
}

/// Cut to the width, with "…" where something is missing.
pub fn fitted(text: &str, size: f64, width: f64) -> String {
    let text = printable(text);
    if text_width(&text, size) <= width {
        return text;
    }
    let mut room = width - text_width("…", size);
    let mut out = String::new();
    for c in text.chars() {
        room -= text_width(c.encode_utf8(&mut [0; 4]), size);
        if room < 0.0 {
            break;
        }
        out.push(c);
    }
    format!("{}…", out.trim_end())
}
