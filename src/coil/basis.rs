//! The coil that predictions stand on.

use nalgebra::DMatrix;

use crate::failure::Result;
use crate::network::{Coil, CoilFile};

/// A coil, with its covariance where that is known.
#[derive(Debug, Clone)]
pub struct Basis {
    pub file: CoilFile,
    pub coil: Coil,
    pub covariance: Option<DMatrix<f64>>,
}

impl Basis {
    pub fn of(file: CoilFile) -> Result<Basis> {
        Ok(Basis {
            coil: file.coil(),
            covariance: file.covariance()?,
            file,
        })
    }
}
