//! The fields of a form as they were typed.

use std::collections::BTreeMap;

/// The fields of a form by name, as they were typed; kept to show the form again.
#[derive(Debug, Clone, Default)]
pub(in crate::web) struct Typed(BTreeMap<String, String>);

impl Typed {
    /// What was typed, without spaces around it; empty where nothing was.
    pub(in crate::web) fn get(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |value| value.trim())
    }

    /// Notes a field.
    pub(in crate::web) fn set(&mut self, name: impl Into<String>, value: impl Into<String>) {
        self.0.insert(name.into(), value.into());
    }

    /// Takes over the fields of `newer`.
    pub(in crate::web) fn merge(&mut self, newer: Self) {
        self.0.extend(newer.0);
    }

    /// Whether a choice stands at this value.
    pub(in crate::web) fn is(&self, name: &str, value: &str) -> bool {
        self.get(name) == value
    }
}

impl FromIterator<(String, String)> for Typed {
    fn from_iter<I: IntoIterator<Item = (String, String)>>(pairs: I) -> Self {
        Self(pairs.into_iter().collect())
    }
}
