//! Times as records have them: RFC 3339, in the time zone of the place.

/// The moment; none where it cannot be read.
pub fn moment(stamp: &str) -> Option<jiff::Timestamp> {
    stamp.parse().ok()
}

/// "2026-01-31", by the clock that the record was made by.
pub fn day(stamp: &str) -> Option<&str> {
    stamp.get(..10)
}
