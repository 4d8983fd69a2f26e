//! Paths of fields as messages name them: `zone[1].finish`, places counted from 1.

/// One step of a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step<'a> {
    /// Into a field of a table.
    Key(&'a str),
    /// To a place in a list, counted from 1.
    Place(usize),
}

/// The steps of a path such as `zone[1].finish`; `None` when it is none.
pub(super) fn steps(path: &str) -> Option<Vec<Step<'_>>> {
    let mut steps = Vec::new();
    for part in path.split('.') {
        let (key, place) = match part.split_once('[') {
            Some((key, rest)) => (key, Some(rest.strip_suffix(']')?.parse::<usize>().ok()?)),
            None => (part, None),
        };
        if !is_plain_key(key) || place == Some(0) {
            return None;
        }
        steps.push(Step::Key(key));
        steps.extend(place.map(Step::Place));
    }
    Some(steps)
}

/// Whether a key can stand in a path, and in TOML without quotes.
pub(super) fn is_plain_key(key: &str) -> bool {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    !key.is_empty() && key.chars().all(plain)
}

/// Whether two paths are the same or one lies inside the other.
pub(super) fn overlap(one: &str, other: &str) -> bool {
    let inside = |outer: &str, inner: &str| {
        inner
            .strip_prefix(outer)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
    };
    inside(one, other) || inside(other, one)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_is_read_step_by_step_and_what_names_no_field_is_none() {
        let found = steps("zone[2].window.from");
        let expected = [Step::Key("zone"), Step::Place(2), Step::Key("window"), Step::Key("from")];
        assert_eq!(found.as_deref(), Some(expected.as_slice()));
        for wrong in ["", "a..b", "zone[0]", "zone[-1]", "zone[1", "zone[x]", "a b", "\"a\""] {
            assert_eq!(steps(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn paths_overlap_where_one_lies_inside_the_other_and_not_where_a_name_only_begins_alike() {
        for inside in ["zone[1]", "zone[1].finish", "zone[1].finish.x"] {
            assert!(overlap(inside, "zone[1].finish") && overlap("zone[1].finish", inside));
        }
        for apart in ["zone[1].finisher", "zone[11].finish", "zone[1].name"] {
            assert!(!overlap(apart, "zone[1].finish") && !overlap("zone[1].finish", apart));
        }
    }
}
