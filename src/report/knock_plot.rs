//! The plot of taps: the level of their answer along frequency, what is there between them, and where it rings.

use super::axis;
use super::lay::{self, EDGE, HEIGHT, Key, MARGIN, ROW, SMALL, WIDTH, small};
use super::number::{self, LEVEL, Unit};
use super::palette::{BAND, MEASURED, Marker, PEAK, SOFT};
use super::sheet::{Anchor, Pen, Plot, Sheet, Type};
use super::words;
use crate::estimate::Z95;
use crate::failure::Result;
use crate::record::Record;
use crate::record::knock::{Knock, KnockPeak};

const TOP: f64 = 19.0;
const BOTTOM: f64 = 76.0;
/// So far below the highest point nothing is of interest.
const SPAN_DB: f64 = 70.0;
const QUIET: Pen = Pen::new(SOFT, 0.35, &[1.2, 0.8]);

/// The taps of one record.
pub fn taps(record: &Record, knock: &Knock) -> Result<Plot> {
    let (name, level) = (
        words::name(record),
        number::bare_interval(&knock.level_db, Unit::Decibel),
    );
    let level = format!("{level} {LEVEL} re the exciter's answer at 1 kHz");
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &format!("Knock of {name}: {level}"));
    let title = format!("{name}: what taps make it say");
    let all = format!("Knock {level}, {} of {} taps", knock.used, knock.taps);
    lay::heading(&mut sheet, &title, &all, record.is_simulated());
    field(&mut sheet, knock);
    let left = f64::from(HEIGHT) - 2.4 - ROW * 5.0;
    for (i, p) in knock.peaks.iter().take(5).enumerate() {
        let at = (MARGIN, left + ROW * (i as f64 + 0.8));
        sheet.cut(at, &peak(i, p), EDGE - MARGIN, small(Anchor::Left));
    }
    sheet.render()
}

fn peak(i: usize, p: &KnockPeak) -> String {
    let decay = p.decay_s.map(|d| number::bare_interval(&d, Unit::Second));
    let decay = decay.map_or("decay not told".into(), |d| format!("falls to 1/e in {d}"));
    let (hz, level) = (
        number::bare_interval(&p.hz, Unit::Hertz),
        number::bare_interval(&p.level_db, Unit::Decibel),
    );
    format!("{}  {hz} at {level}, {decay} {LEVEL}", words::letter(i))
}

fn field(sheet: &mut Sheet, knock: &Knock) {
    let s = &knock.spectrum;
    let sane = |db: f64| db.is_finite() && db.abs() < 1e4;
    let levels = s.freq_hz.iter().zip(s.level_db.iter().zip(&s.u_db));
    let levels = levels.map(|(f, (v, u))| (*f, *v, Z95 * u));
    let points: Vec<(f64, f64, f64)> = levels.filter(|p| axis::shown(p.0) && sane(p.1) && sane(p.2)).collect();
    let noise = s.freq_hz.iter().copied().zip(s.noise_db.iter().copied());
    let quiet: Vec<(f64, f64)> = noise.filter(|p| sane(p.1)).collect();
    let top = points.iter().map(|p| p.1 + p.2).fold(f64::NEG_INFINITY, f64::max);
    let lines = points.iter().map(|p| p.1 - p.2).chain(quiet.iter().map(|p| p.1));
    let low = lines.fold(f64::INFINITY, f64::min);
    if points.len() < 2 || top <= low {
        return lay::nothing(sheet, (TOP + BOTTOM) / 2.0, "No curve to show");
    }
    let low = low.max(top - SPAN_DB);
    let span = top - low;
    let field = lay::field([TOP, BOTTOM], [low - 0.03 * span, top + 0.12 * span]);
    lay::grid(sheet, &field, axis::decibel_step(field.high - field.low, 9.0));
    lay::band(sheet, &field, points.iter().map(|p| (p.0, p.1 - p.2, p.1 + p.2)));
    lay::curve(sheet, &field, quiet, QUIET);
    let line: Vec<(f64, f64)> = points.iter().map(|p| (p.0, p.1)).collect();
    lay::curve(sheet, &field, line.iter().copied(), MEASURED);
    lay::framed(sheet, &field, "level in 1/24 octave (dB)");
    let mut key = Key::over(&field);
    key.line(sheet, "mean of the taps", MEASURED);
    key.area(sheet, "95 % band of the mean", BAND);
    key.line(sheet, "between the taps", QUIET);
    for (i, p) in knock.peaks.iter().enumerate() {
        let Some(db) = lay::interpolate(&line, p.hz.value) else {
            continue;
        };
        let at = field.clamp_y(field.point(p.hz.value, db));
        Marker::Down.draw(sheet, (at.0, at.1 - 1.9), 1.2, PEAK);
        let kind = Type::new(SMALL, PEAK, Anchor::Centre);
        sheet.text((at.0, (at.1 - 3.6).max(TOP + SMALL)), &words::letter(i), kind);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples;

    #[test]
    fn a_knock_is_drawn_and_what_is_no_number_breaks_nothing() {
        let mut record = samples::Recipe::default().record();
        let mut knock = samples::knock();
        record.knock = Some(knock.clone());
        let plot = taps(&record, &knock).unwrap();
        assert!(plot.svg.contains("between the taps") && plot.svg.contains("re the exciter"));
        assert!(plot.svg.contains("7 of 8 taps"));
        knock.spectrum.level_db.iter_mut().for_each(|v| *v = f64::NAN);
        knock.peaks[0].hz.value = f64::NAN;
        assert!(taps(&record, &knock).unwrap().svg.contains("No curve to show"));
        knock.spectrum.freq_hz.clear();
        knock.peaks.clear();
        taps(&record, &knock).unwrap();
    }
}
