//! Records of one coil before and after the wax.

use std::collections::BTreeMap;

use super::document::{Read, Remark};
use super::side::Side;
use crate::coil::behind::{input_of, load_of};
use crate::record::Record;
use crate::record::identity::{is_of_level, same_rig, unlike};
use crate::record::when::moment;
use crate::shop::alike;
use crate::shop::witness::eras::Eras;
use crate::stats::distinct;

/// What is on either side, in order of time.
#[derive(Debug, Clone)]
pub(super) struct Sides<'a> {
    pub(super) name: String,
    pub(super) before: Vec<&'a Record>,
    pub(super) after: Vec<&'a Record>,
}

/// By the pickup's name and coil: two coils of one pickup are two windings. A record that does not say which one it is of goes with
/// the only one there is.
pub(super) fn pairs<'a>(before: &'a [Record], after: &'a [Record]) -> (Vec<Sides<'a>>, Vec<Remark>) {
    let (mut out, mut remarks) = (Vec::new(), Vec::new());
    for name in distinct(before.iter().chain(after).map(|r| &r.pickup.name)) {
        let of = |list: &'a [Record]| {
            let mut own: Vec<&Record> = list.iter().filter(|r| r.pickup.name == *name).collect();
            own.sort_by_key(|r| (moment(&r.taken_at), &r.taken_at));
            own
        };
        let whole = Sides {
            name: name.clone(),
            before: of(before),
            after: of(after),
        };
        let mut coils: BTreeMap<Option<&str>, Sides> = BTreeMap::new();
        for r in whole.all() {
            let coil = r.pickup.over.as_deref();
            coils.entry(coil).or_insert_with(|| whole.of_coil(coil));
        }
        let untold = coils.remove(&None);
        if coils.len() < 2 {
            out.push(whole);
            continue;
        }
        out.extend(coils.into_values());
        remarks.extend(untold.map(|u| Remark::CoilUntold(name.clone(), u.all().count())));
    }
    (out, remarks)
}

pub(super) fn ids(list: &[&Record]) -> Vec<String> {
    list.iter().map(|r| r.id.clone()).collect()
}

impl<'a> Sides<'a> {
    pub(super) fn all(&self) -> impl Iterator<Item = &'a Record> + Clone {
        self.before.iter().chain(&self.after).copied()
    }

    fn of_coil(&self, coil: Option<&str>) -> Self {
        let own = |list: &[&'a Record]| {
            let of_it = list.iter().filter(|r| r.pickup.over.as_deref() == coil);
            of_it.copied().collect()
        };
        Sides {
            name: format!("{}, {}", self.name, coil.unwrap_or_default()),
            before: own(&self.before),
            after: own(&self.after),
        }
    }

    pub(super) fn is_of(&self, names: &[String]) -> bool {
        self.all().any(|r| names.contains(&r.pickup.name))
    }

    /// What was read on either side.
    pub(super) fn read(&self) -> Read {
        let definition = alike::in_common(self.all());
        let [before, after] = [&self.before, &self.after].map(|side| Side::of(side, definition));
        let ohms = self.ohms();
        Read {
            f0_hz: [&before, &after].map(|s| s.map(|s| s.f0.value)),
            peak_db: [&before, &after].map(|s| Some(s.as_ref()?.peak_db?.value)),
            ohm: ohms.map_or([None; 2], |o| o.ohm().map(Some)),
            at_20: ohms.is_some_and(|o| o.rooms.is_some()),
        }
    }

    pub(super) fn one_rig(&self) -> bool {
        self.all().all(|r| same_rig(&self.before[0].rig, &r.rig))
    }

    /// Keys of the rig's file by which f0 and Q of the readings were worked out otherwise, and those by which only levels were.
    pub(super) fn unlike(&self) -> [Vec<String>; 2] {
        let mut keys: Vec<String> = self.all().flat_map(|r| unlike(self.before[0], r)).collect();
        keys.sort();
        keys.dedup();
        let (of_level, of_f0) = keys.into_iter().partition(|k| is_of_level(k));
        [of_f0, of_level]
    }

    /// What was changed on the bench between any two of them.
    pub(super) fn changed(&self, eras: &Eras) -> Option<String> {
        let at = self.all().map(|r| r.taken_at.as_str());
        eras.changed_among(at).map(|c| c.what.clone())
    }

    /// The rigs' names, each once.
    pub(super) fn rigs(&self) -> String {
        let names = self.all().map(|r| r.rig.name.as_deref().unwrap_or("none given"));
        distinct(names).join(", ")
    }

    pub(super) fn one_load(&self) -> bool {
        let text = |r: &Record| r.load.as_ref().map(|l| l.text.clone());
        self.all().all(|r| text(r) == text(self.before[0]))
    }

    /// Capacitance that hangs on the winding besides its own, in farads.
    pub(super) fn load_f(&self) -> f64 {
        let first = self.before[0];
        load_of(first).map_or(0.0, |l| l.capacitance()) + input_of(first).1
    }

    /// Hours between the last reading before and the first one after.
    pub(super) fn apart_h(&self) -> Option<f64> {
        let last = self.before.iter().filter_map(|r| moment(&r.taken_at)).max()?;
        let first = self.after.iter().filter_map(|r| moment(&r.taken_at)).min()?;
        Some(first.duration_since(last).as_secs_f64() / 3600.0)
    }
}
