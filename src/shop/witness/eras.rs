//! The times of a rig: something is changed on the bench, and what its witness said before holds for then.

use super::history::{Change, History};
use crate::record::when::moment;

/// The histories of a rig, newest first; each begins where something was changed on the bench.
#[derive(Debug, Clone, Default)]
pub struct Eras(Vec<History>);

impl Eras {
    /// `newest`, and those before it as `kept` finds them by the name of their file.
    pub fn of(newest: Option<History>, mut kept: impl FnMut(&str) -> Option<History>) -> Eras {
        let (mut out, mut next) = (Vec::new(), newest);
        while let Some(history) = next.take() {
            // A file that names itself would be read for ever.
            let before = history.changed.as_ref().and_then(|c| c.before.as_deref());
            next = before.filter(|_| out.len() < 1000).and_then(&mut kept);
            out.push(history);
        }
        Eras(out)
    }

    /// What the witness said in the time of this moment.
    pub fn at(&self, stamp: &str) -> Option<&History> {
        let then = moment(stamp);
        let begun = |h: &&History| match (h.changed.as_ref().map(|c| moment(&c.at)), then) {
            (Some(Some(begun)), Some(then)) => begun <= then,
            _ => true,
        };
        self.0.iter().find(begun)
    }

    /// The newest as it is known today.
    pub fn renew(&mut self, today: impl FnOnce(History) -> History) {
        if !self.0.is_empty() {
            let newest = today(self.0.remove(0));
            self.0.insert(0, newest);
        }
    }

    pub fn all(&self) -> &[History] {
        &self.0
    }

    pub fn newest(&self) -> Option<&History> {
        self.0.first()
    }

    /// What was changed on the bench between the first and the last of these moments.
    pub fn changed_among<'a>(&self, stamps: impl Iterator<Item = &'a str> + Clone) -> Option<&Change> {
        let first = stamps.clone().min_by_key(|t| moment(t))?;
        self.changed(first, stamps.max_by_key(|t| moment(t))?)
    }

    /// What was changed on the bench between two moments.
    pub fn changed(&self, a: &str, b: &str) -> Option<&Change> {
        let (x, y) = (moment(a)?, moment(b)?);
        let (from, to) = (x.min(y), x.max(y));
        let mut changes = self.0.iter().filter_map(|h| h.changed.as_ref());
        changes.find(|c| moment(&c.at).is_some_and(|c| from < c && c <= to))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::RigSummary;

    #[test]
    fn each_time_has_its_own_history() {
        let history = |witness: &str, changed: Option<(&str, &str)>| {
            let mut h = History::new(&RigSummary::default(), witness);
            h.changed = changed.map(|(at, before)| Change {
                what: format!("before {witness}"),
                at: at.into(),
                before: Some(before.into()),
            });
            h
        };
        let kept = [
            history("second", Some(("2026-02-01T10:00:00Z", "first"))),
            history("first", None),
        ];
        let find = |name: &str| kept.iter().find(|h| h.witness == name).cloned();
        let eras = Eras::of(
            Some(history("third", Some(("2026-03-01T10:00:00+01:00", "second")))),
            find,
        );
        for (at, want) in [
            ("2026-01-01T00:00:00Z", "first"),
            ("2026-02-01T09:59:59Z", "first"),
            ("2026-02-01T10:00:00Z", "second"),
            ("2026-03-01T08:59:59Z", "second"),
            ("2026-03-01T09:00:00Z", "third"),
            ("no moment", "third"),
        ] {
            assert_eq!(eras.at(at).map(|h| h.witness.as_str()), Some(want), "{at}");
        }
        let between = |a: &str, b: &str| eras.changed(a, b).map(|c| c.what.clone());
        assert_eq!(between("2026-02-02T00:00:00Z", "2026-02-28T00:00:00Z"), None);
        // Either way round, and all changes, not the last alone.
        let second = Some("before second".to_owned());
        assert_eq!(between("2026-02-02T00:00:00Z", "2026-01-28T00:00:00Z"), second);
        // A file that is gone ends it.
        let alone = Eras::of(Some(history("third", Some(("2026-03-01T09:00:00Z", "second")))), |_| {
            None
        });
        assert!(alone.at("2026-01-01T00:00:00Z").is_none());
        // One that names itself too.
        let own = history("round", Some(("2026-03-01T09:00:00Z", "round")));
        assert!(Eras::of(Some(own.clone()), |_| Some(own.clone())).newest().is_some());
    }
}
