//! Lots of another notebook: whole, or what has come to one that is here since.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::{Add, How, Lot, Reading, free_name};
use crate::book::look::{TRAY_BYTES, tray};
use crate::failure::{Failure, Result};
use crate::fileio;
use crate::shop::lot::{TRAY, Tray, is_plain};

impl Add<'_> {
    pub(super) fn lots(&mut self, readings: &[&Reading]) -> Result<()> {
        let mut lots: BTreeMap<&str, Vec<&Reading>> = BTreeMap::new();
        for reading in readings {
            let top = reading.found.path.split(['/', '\\']).next().unwrap_or_default();
            lots.entry(top).or_default().push(reading);
        }
        lots.into_iter()
            .try_for_each(|(lot, readings)| self.lot(lot, &readings))
    }

    fn lot(&mut self, lot: &str, readings: &[&Reading]) -> Result<()> {
        let place = self.notebook.join(lot);
        let inside = |p: &&std::path::PathBuf| p.starts_with(lot);
        let ours: BTreeSet<&str> = self
            .here
            .iter()
            .filter(|(_, p)| inside(p))
            .map(|(id, _)| id.as_str())
            .collect();
        let begun = ours.iter().all(|id| readings.iter().any(|r| r.id == *id));
        let new = readings.iter().any(|r| !self.here.contains_key(&r.id));
        if !ours.is_empty() && begun && place.join(TRAY).is_file() {
            let [theirs, own] = [self.other, self.notebook].map(|n| n.join(lot).join(TRAY));
            if begins(&tray(&own)?, &tray(&theirs)?) {
                return self.goes_on(lot, readings);
            }
        }
        if !new {
            return readings.iter().try_for_each(|r| self.again(r));
        }
        if place.symlink_metadata().is_err() {
            return self.whole(lot, lot, readings);
        }
        let from = fileio::name_of(self.other);
        let base = format!("{lot}-{}", if is_plain(&from) { &from } else { "added" });
        let free = |n: &str| self.notebook.join(n).symlink_metadata().is_err();
        self.whole(lot, &free_name(&base, free)?, readings)
    }

    fn whole(&mut self, lot: &str, to: &str, readings: &[&Reading]) -> Result<()> {
        let mut names = Vec::new();
        for reading in readings {
            if self.here.contains_key(&reading.id) {
                continue;
            }
            // "neck-12-07" is neck-12-class-07 in the lot neck-12-class: another neck-12-07 is here.
            let own = reading.name.strip_prefix(lot).filter(|_| to != lot);
            let name = own.map_or_else(|| reading.name.clone(), |rest| format!("{to}{rest}"));
            self.keep_name(reading, &name)?;
            names.push((reading, name));
        }
        let (from, place) = (self.other.join(lot), self.notebook.join(to));
        self.staging.bring(&from, &place, &mut self.out.left_out)?;
        for (reading, name) in names {
            let inside = Path::new(&reading.found.path)
                .strip_prefix(lot)
                .unwrap_or(Path::new(""));
            self.arrived(reading, &Path::new(to).join(inside), &name);
        }
        let how = if to == lot { How::New } else { How::OtherName };
        self.told(lot, to, how);
        Ok(())
    }

    fn told(&mut self, lot: &str, to: &str, how: How) {
        self.out.lots.push(Lot {
            lot: lot.to_owned(),
            to: to.to_owned(),
            how,
        });
    }

    /// All readings that are here are of it: what came since comes in, and last the lot's own file.
    fn goes_on(&mut self, lot: &str, readings: &[&Reading]) -> Result<()> {
        let (theirs, ours) = (self.other.join(lot).join(TRAY), self.notebook.join(lot).join(TRAY));
        let _held = fileio::hold(&ours)?.ok_or_else(|| {
            Failure::new(
                format!("the lot {lot} is on a tray at this moment"),
                "end that one with q",
            )
        })?;
        let bytes = fileio::read_limited(&theirs, TRAY_BYTES)?;
        let their_tray = Tray::parse(&theirs.display().to_string(), &bytes)?;
        let our_tray = tray(&ours)?;
        let mut came = false;
        for reading in readings {
            if self.here.contains_key(&reading.id) {
                self.again(reading)?;
                continue;
            }
            let to = Path::new(&reading.found.path);
            if self.notebook.join(to).symlink_metadata().is_ok() {
                let what = format!("{}: its place is taken here", self.other.join(to).display());
                self.out.left_out.push(what);
                continue;
            }
            self.keep_name(reading, &reading.name.clone())?;
            self.bring(reading, to)?;
            came = true;
        }
        if their_tray.entries.len() > our_tray.entries.len() {
            fileio::write_atomically(&ours, &bytes)?;
            came = true;
        }
        if came {
            self.told(lot, lot, How::GoesOn);
        }
        Ok(())
    }
}

/// Whether one lot is the beginning of another: whatever was measured, taken back, kept, noted and read in it is in that too.
fn begins(first: &Tray, whole: &Tray) -> bool {
    let alike = (&first.standard, &first.setting, &first.columns) == (&whole.standard, &whole.setting, &whole.columns);
    let each = first.entries.iter().zip(&whole.entries);
    let mut in_it = each.map(|(a, b)| {
        let one = (a.number, &a.record) == (b.number, &b.record);
        let said = (!a.withdrawn || b.withdrawn) && (!a.kept || b.kept);
        one && said && b.notes.starts_with(&a.notes) && b.readings.starts_with(&a.readings)
    });
    alike && first.entries.len() <= whole.entries.len() && in_it.all(|is| is)
}
