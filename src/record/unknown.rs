//! What a document holds beyond what this version knows of it, so that writing it again loses nothing.

use serde_json::Value;

/// Puts into `new` what `old` holds and this version did not understand; `known` is `old` as it was understood. An element of a
/// list is still the same where nothing has changed in it, or where it has its place and its id, or where it has none, its name.
pub fn keep(old: &Value, known: &Value, new: &mut Value) {
    match (old, known, new) {
        (Value::Object(old), Value::Object(known), Value::Object(new)) => {
            for (key, value) in old {
                match (known.get(key), new.get_mut(key)) {
                    (Some(known), Some(new)) => keep(value, known, new),
                    (None, None) => {
                        new.insert(key.clone(), value.clone());
                    }
                    // Understood, and taken out since; or this version's own.
                    _ => {}
                }
            }
        }
        (Value::Array(old), Value::Array(known), Value::Array(new)) => {
            for (i, new) in new.iter_mut().enumerate() {
                let called = |v: &Value| v.get("id").or_else(|| v.get("name")).cloned();
                let same_id = |k: &&Value| called(k).is_some_and(|own| Some(own) == called(new));
                let at = match known.get(i).filter(|k| *k == new || same_id(k)) {
                    Some(_) => Some(i),
                    None => known.iter().position(|k| k == new),
                };
                if let Some((old, known)) = at.and_then(|i| old.get(i).zip(known.get(i))) {
                    keep(old, known, new);
                }
            }
        }
        _ => {}
    }
}

/// The first member of `old` that is not in `known`, as "table.key".
pub fn first(old: &Value, known: &Value) -> Option<String> {
    let (Value::Object(old), Value::Object(known)) = (old, known) else {
        return None;
    };
    old.iter().find_map(|(key, value)| match known.get(key) {
        None => Some(key.clone()),
        Some(known) => first(value, known).map(|rest| format!("{key}.{rest}")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_is_not_understood_stays_where_it_was() {
        let old = json!({ "a": 1, "new": 2, "gone": 3,
            "in": { "b": 1, "more": [1] },
            "list": [{ "name": "x", "v": 1, "u": 9 }, { "v": 5, "range": "20k" }, { "v": 6, "range": "2k" }] });
        let known = json!({ "a": 1, "gone": 3, "in": { "b": 1 },
            "list": [{ "name": "x", "v": 1 }, { "v": 5 }, { "v": 6 }] });
        let mut new = json!({ "a": 7, "in": { "b": 2 },
            "list": [{ "name": "x", "v": 2 }, { "v": 6 }, { "v": 8 }] });
        keep(&old, &known, &mut new);
        // A figure that was typed anew has nothing of the one before it.
        let want = json!({ "a": 7, "new": 2, "in": { "b": 2, "more": [1] },
            "list": [{ "name": "x", "v": 2, "u": 9 }, { "v": 6, "range": "2k" }, { "v": 8 }] });
        assert_eq!(new, want);
        assert_eq!(first(&old, &known).as_deref(), Some("in.more"));
        assert_eq!(first(&known, &known), None);
    }
}
