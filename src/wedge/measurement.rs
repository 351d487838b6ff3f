//! Measurement: a measured value with its standard uncertainty, or the reason why there is none.

use serde::{Deserialize, Serialize};

/// A value that was measured, or the reason why it was not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Measurement {
    /// Measured.
    Measured {
        /// The value.
        value: f64,
        /// Its standard uncertainty, in the same unit.
        uncertainty: f64,
    },
    /// Not measured.
    NotMeasured {
        /// Why, in words.
        not_measured: String,
    },
}

impl Measurement {
    /// A value with its standard uncertainty.
    pub fn value(value: f64, uncertainty: f64) -> Self {
        Measurement::Measured { value, uncertainty }
    }

    /// The reason why there is no value.
    pub fn not(reason: impl Into<String>) -> Self {
        Measurement::NotMeasured { not_measured: reason.into() }
    }

    /// The value, where there is one.
    pub fn get(&self) -> Option<f64> {
        match self {
            Measurement::Measured { value, .. } => Some(*value),
            Measurement::NotMeasured { .. } => None,
        }
    }

    /// Its standard uncertainty; 0 where there is no value.
    pub fn uncertainty(&self) -> f64 {
        match self {
            Measurement::Measured { uncertainty, .. } => *uncertainty,
            Measurement::NotMeasured { .. } => 0.0,
        }
    }
}
