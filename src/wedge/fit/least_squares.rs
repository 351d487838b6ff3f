//! Least squares: the Levenberg-Marquardt method over a plain function, with uncertainties.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

use crate::parallel;

/// A minimum.
#[derive(Debug, Clone, PartialEq)]
pub struct Minimum {
    /// The parameters.
    pub at: Vec<f64>,
    /// Sum of the squared residuals.
    pub cost: f64,
    /// Standard uncertainty of each parameter from the covariance `s² (JᵀJ)⁻¹`, where `s²` is the cost per
    /// degree of freedom and at least 1: residuals larger than their stated errors widen it, smaller ones
    /// do not narrow it. NaN where the parameters are not settled.
    pub error: Vec<f64>,
    /// That covariance; none where the parameters are not settled.
    pub covariance: Option<DMatrix<f64>>,
}

struct Problem<F> {
    residuals: F,
    at: DVector<f64>,
}

impl<F: Fn(&[f64]) -> Vec<f64> + Sync> Problem<F> {
    fn rest(&self, at: &DVector<f64>) -> DVector<f64> {
        DVector::from_vec((self.residuals)(at.as_slice()))
    }

    /// Central differences with a step of 1e-5: parameters are logarithms or of order one.
    fn slopes(&self) -> DMatrix<f64> {
        let h = 1e-5;
        let columns = parallel::map(self.at.len(), |i| {
            let (mut up, mut down) = (self.at.clone(), self.at.clone());
            up[i] += h;
            down[i] -= h;
            (self.rest(&up) - self.rest(&down)) / (2.0 * h)
        });
        DMatrix::from_columns(&columns)
    }
}

impl<F: Fn(&[f64]) -> Vec<f64> + Sync> LeastSquaresProblem<f64, Dyn, Dyn> for Problem<F> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.at.copy_from(x);
    }

    fn params(&self) -> DVector<f64> {
        self.at.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.rest(&self.at))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.slopes())
    }
}

/// Minimises the sum of the squares of `residuals` from `start`. `None` when there are fewer residuals
/// than parameters or the result is not finite.
pub fn minimise(start: &[f64], residuals: impl Fn(&[f64]) -> Vec<f64> + Sync) -> Option<Minimum> {
    let count = residuals(start).len();
    if start.is_empty() || count < start.len() {
        return None;
    }
    let problem = Problem { residuals, at: DVector::from_column_slice(start) };
    let (problem, _) = LevenbergMarquardt::new().with_patience(60).minimize(problem);
    let cost = problem.rest(&problem.at).norm_squared();
    if !cost.is_finite() {
        return None;
    }
    let j = problem.slopes();
    let freedom = (count - start.len()).max(1) as f64;
    let scale = (cost / freedom).max(1.0);
    let covariance = (j.transpose() * &j).try_inverse().map(|inverse| inverse * scale);
    let error = match &covariance {
        Some(c) => c.diagonal().iter().map(|v| v.max(0.0).sqrt()).collect(),
        None => vec![f64::NAN; start.len()],
    };
    Some(Minimum { at: problem.at.as_slice().to_vec(), cost, error, covariance })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_line_has_the_textbook_uncertainties() {
        // y = 1 + 2x with unit errors at x = 0..4: sd of the slope is 1/sqrt(sum (x - mean)²) = 1/sqrt(10).
        let m = minimise(&[0.0, 0.0], |p| {
            (0..5).map(|i| p[0] + p[1] * f64::from(i) - (1.0 + 2.0 * f64::from(i))).collect()
        })
        .unwrap();
        assert!((m.at[0] - 1.0).abs() < 1e-9 && (m.at[1] - 2.0).abs() < 1e-9 && m.cost < 1e-16);
        assert!((m.error[1] - 0.1f64.sqrt()).abs() < 1e-6);
    }

    #[test]
    fn too_few_values_settle_nothing() {
        assert!(minimise(&[0.0, 0.0], |p| vec![p[0] + p[1]]).is_none());
        let m = minimise(&[1.0, 1.0], |p| vec![p[0] + p[1], p[0] + p[1], 0.0]);
        assert!(m.is_none_or(|m| m.error.iter().any(|e| e.is_nan() || *e > 1e3)));
    }
}
