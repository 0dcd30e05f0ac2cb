//! How a page looks: light and dark, on a screen and on paper.

use std::collections::BTreeSet;

const SHEET: &str = include_str!("page.css");

/// The style sheet, with what the colours of these drawings are on a dark screen. On paper they stay as they are.
pub fn of<'a>(drawings: impl Iterator<Item = &'a str>) -> String {
    // Every "#rrggbb" that is in them.
    let values = drawings.flat_map(|svg| svg.split("=\"").skip(1));
    let colours: BTreeSet<&str> = values.filter_map(|piece| Some(piece.split_once('"')?.0)).collect();
    let rule = |c, dark| format!("[fill=\"{c}\"]{{fill:{dark}}}[stroke=\"{c}\"]{{stroke:{dark}}}");
    let dark: String = colours.into_iter().filter_map(|c| Some(rule(c, dark(c)?))).collect();
    format!("{SHEET}@media screen and (prefers-color-scheme:dark){{{dark}}}")
}

/// The same hue, as far above the dark ground as it is below white paper.
fn dark(colour: &str) -> Option<String> {
    let digits = colour.strip_prefix('#').filter(|d| d.len() == 6 && d.is_ascii())?;
    let part = |i: usize| Some(f64::from(u8::from_str_radix(digits.get(i..i + 2)?, 16).ok()?) / 255.0);
    let rgb = [part(0)?, part(2)?, part(4)?];
    let (low, high) = rgb.iter().fold((1.0f64, 0.0f64), |(a, b), c| (a.min(*c), b.max(*c)));
    // Lightness as in HSL: turned round by taking the middle from one side of the half to the other, hue and saturation kept.
    let light = (low + high) / 2.0;
    let reach = |l: f64| 1.0 - (2.0 * l - 1.0).abs();
    let new = GROUND + (1.0 - GROUND) * (1.0 - light) * 0.97;
    let scale = match reach(light) {
        r if r > 1e-6 => reach(new) / r,
        _ => 0.0,
    };
    let byte = |c: f64| ((new + (c - light) * scale) * 255.0).round().clamp(0.0, 255.0) as u8;
    Some(format!("#{}", rgb.map(|c| format!("{:02x}", byte(c))).concat()))
}

/// Lightness of the dark ground, as in the style sheet.
const GROUND: f64 = 0.09;

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast as WCAG 2.2 defines them.
    fn contrast(a: &str, b: &str) -> f64 {
        let luminance = |c: &str| {
            let part = |i: usize| {
                let v = f64::from(u8::from_str_radix(&c[i..i + 2], 16).unwrap()) / 255.0;
                if v <= 0.04045 {
                    v / 12.92
                } else {
                    ((v + 0.055) / 1.055).powf(2.4)
                }
            };
            0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
        };
        let (x, y) = (luminance(a), luminance(b));
        (x.max(y) + 0.05) / (x.min(y) + 0.05)
    }

    /// 4.5 for lettering, 3 for what a drawing is understood by: success criteria 1.4.3 and 1.4.11.
    #[test]
    fn what_can_be_read_on_paper_can_be_read_in_the_dark() {
        let ground = dark("#FFFFFF").unwrap();
        for (colour, least) in [
            ("#141418", 4.5),
            ("#54565C", 4.5),
            ("#A02418", 4.5),
            ("#1E603C", 4.5),
            ("#5C8CB2", 3.0),
            ("#1862A0", 3.0),
            ("#B03C14", 3.0),
            ("#823A8C", 3.0),
        ] {
            let found = contrast(&dark(colour).unwrap(), &ground);
            assert!(found >= least, "{colour}: {found:.1}");
        }
        assert_eq!(dark("#12345"), None);
        assert_eq!(dark("#12345é"), None);
    }
}
