//! JSON in which every name of an object stands once: a reader that keeps the last of two would be shown
//! another file than one that keeps the first.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Value};

/// A value without a doubled name in it.
#[derive(Debug)]
pub(super) struct Once(pub(super) Value);

impl<'de> Deserialize<'de> for Once {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(Any).map(Self)
    }
}

struct Any;

impl<'de> Visitor<'de> for Any {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E: Error>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E: Error>(self, value: bool) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_str<E: Error>(self, value: &str) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut all = Vec::new();
        while let Some(Once(value)) = from.next_element()? {
            all.push(value);
        }
        Ok(all.into())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<Value, A::Error> {
        let mut all = Map::new();
        while let Some((name, Once(value))) = from.next_entry::<String, Once>()? {
            if all.contains_key(&name) {
                return Err(A::Error::custom(format_args!(
                    "\"{name}\" stands twice in one object"
                )));
            }
            all.insert(name, value);
        }
        Ok(all.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_once_reads_as_it_is_and_a_name_that_stands_twice_is_refused_at_any_depth() {
        let text = r#"{"a": [1, -2, 0.5, "x", null, true, {"a": {}}], "b": 18446744073709551615}"#;
        let whole: Value = serde_json::from_str(text).expect("JSON");
        assert_eq!(serde_json::from_str::<Once>(text).expect("once").0, whole);
        for twice in [r#"{"a": 1, "a": 1}"#, r#"[{"b": [{"a": 1, "c": 2, "a": 3}]}]"#] {
            let told = serde_json::from_str::<Once>(twice).expect_err("twice").to_string();
            assert!(told.contains("\"a\" stands twice"), "{told}");
        }
    }
}
