//! What follows from the pack and from other values of a part, when one of them is another.

use serde_json::Value;

use super::Ready;
use crate::design::Head;
use crate::field::tree::{at, put};

impl Ready {
    /// Works out again what follows from the pack and from other values, but for the one that was moved. Whether it can:
    /// a list that gets another length cannot be moved.
    pub(super) fn follow(&mut self, head: &Head, moved: &str) -> bool {
        if self.follows.is_empty() {
            return true;
        }
        let mut now = self.input.written();
        let rules = self.follows.iter().filter(|rule| rule.to != moved && !moved.starts_with(&format!("{}/", rule.to)));
        for rule in rules {
            let value = (rule.from)(&head.pack, &now).filter(|value| at(&now, rule.to) != Some(value));
            let Some(value) = value else { continue };
            let put_in = match (&value, at(&now, rule.to)) {
                (Value::Array(values), Some(Value::Array(before))) => {
                    let numbers = values.iter().filter_map(Value::as_f64).enumerate();
                    values.len() == before.len()
                        && numbers
                            .fold(true, |all, (row, value)| all & self.input.put(&format!("{}/{row}", rule.to), value))
                }
                (value, _) => value.as_f64().is_some_and(|value| self.input.put(rule.to, value)),
            };
            if !put_in {
                return false;
            }
            put(&mut now, rule.to, value);
        }
        true
    }
}
