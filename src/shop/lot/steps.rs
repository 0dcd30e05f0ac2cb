//! What the keys do to a lot.

use super::{Entry, Judged, Record, Tray, Undone};

impl Tray {
    /// Enters a take of a number, in the place of what counts of it; where that is worth more, it goes on to count, and what is
    /// given back is false. Either way no record is unknown to its lot.
    pub fn take(&mut self, number: u32, record: &Record, folder: String, judged: Option<Judged>) -> bool {
        let mut new = Entry::of(number, record, folder, judged);
        let before = self.entries.iter().position(|e| e.number == number && !e.withdrawn);
        if let Some(old) = before.and_then(|i| self.entries.get_mut(i)) {
            new.withdrawn = old.worth() > new.worth();
            old.withdrawn = !new.withdrawn;
        }
        new.replaces = before;
        let stands = !new.withdrawn;
        self.entries.push(new);
        if stands {
            self.go_on(number);
        }
        stands
    }

    /// Enters a take that something else counts instead of.
    pub fn put_by(&mut self, number: u32, record: &Record, folder: String, judged: Option<Judged>) {
        let mut new = Entry::of(number, record, folder, judged);
        new.withdrawn = true;
        self.entries.push(new);
    }

    /// The number stays where it waits for a better take; else the next one comes.
    pub(super) fn go_on(&mut self, number: u32) {
        let after = number.saturating_add(1);
        let open = self.at(number).is_some_and(Entry::is_open);
        self.next = match open && self.next <= after {
            true => number,
            false => self.next.max(after),
        };
    }

    /// Goes on with the number after this one, whatever there is of it.
    pub fn skip(&mut self) {
        let number = self.next;
        if self.at(number).is_none() {
            let name = self.name(number);
            self.entries.push(Entry {
                number,
                name,
                ..Entry::default()
            });
        }
        self.next = number.saturating_add(1);
    }

    /// Takes the last step back: the leaving of a number that waits for a take, or the last one that counts, whose number comes
    /// again unless something else stood there before.
    pub fn undo(&mut self) -> Option<Undone> {
        if let Some(number) = self.undo_in_vain() {
            return Some(Undone { number, stands: true });
        }
        let last = self.last()?;
        let (number, before) = (last.number, last.replaces);
        let left = last.is_open() && self.next > number;
        self.next = number;
        if left {
            return Some(Undone { number, stands: true });
        }
        if let Some(last) = self.at_mut(number) {
            last.withdrawn = true;
            last.replaces = None;
        }
        let old = before.and_then(|i| self.entries.get_mut(i));
        let old = old.filter(|e| e.number == number && e.withdrawn);
        let stands = old.map(|e| e.withdrawn = false).is_some();
        if stands && self.at(number).is_some_and(|e| !e.is_open()) {
            self.next = number.saturating_add(1);
        }
        Some(Undone { number, stands })
    }

    /// The number of a last take that did not count: what it was to replace stands, and goes on standing.
    fn undo_in_vain(&mut self) -> Option<u32> {
        let last = self.entries.last().filter(|e| e.withdrawn)?;
        self.entries.get(last.replaces?).filter(|old| !old.withdrawn)?;
        let last = self.entries.last_mut()?;
        last.replaces = None;
        Some(last.number)
    }

    /// Keeps a take that another one might better.
    pub fn keep(&mut self, number: u32, judged: Option<Judged>) {
        if let Some(e) = self.at_mut(number) {
            e.kept = true;
            e.judged = judged;
        }
        self.go_on(number);
    }
}
