//! Symmetric positive definite matrices: Cholesky factor, inverse and determinant, rows in parallel.

use rayon::prelude::*;

/// A square matrix, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Square {
    size: usize,
    values: Vec<f64>,
}

impl Square {
    /// Zeros.
    #[must_use]
    pub fn zeros(size: usize) -> Self {
        Self {
            size,
            values: vec![0.0; size * size],
        }
    }

    /// Rows and columns.
    #[must_use]
    pub fn size(&self) -> usize {
        self.size
    }

    /// The value in `row` and `column`.
    #[must_use]
    pub fn at(&self, row: usize, column: usize) -> f64 {
        self.values[row * self.size + column]
    }

    /// Adds to the value in `row` and `column`.
    pub fn add(&mut self, row: usize, column: usize, value: f64) {
        self.values[row * self.size + column] += value;
    }

    /// One row.
    #[must_use]
    pub fn row(&self, row: usize) -> &[f64] {
        &self.values[row * self.size..][..self.size]
    }

    /// The matrix times a vector.
    #[must_use]
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        (0..self.size)
            .map(|row| dot(self.row(row), vector))
            .collect()
    }

    /// `vector' * self * vector`.
    #[must_use]
    pub fn quadratic(&self, vector: &[f64]) -> f64 {
        dot(&self.times(vector), vector)
    }

    /// The inverse and the logarithm of the determinant of a symmetric positive definite matrix; `None` when it is not.
    #[must_use]
    pub fn inverse(&self) -> Option<(Self, f64)> {
        let size = self.size;
        let lower = self.cholesky()?;
        let log_determinant = (0..size).map(|i| 2.0 * lower.at(i, i).ln()).sum();
        // Row `j` holds column `j` of the inverse of the factor, from the diagonal on.
        let mut columns = Self::zeros(size);
        columns
            .values
            .par_chunks_mut(size)
            .enumerate()
            .for_each(|(j, column)| {
                column[j] = 1.0 / lower.at(j, j);
                for i in j + 1..size {
                    let sum = dot(&lower.row(i)[j..i], &column[j..i]);
                    column[i] = -sum / lower.at(i, i);
                }
            });
        let mut inverse = Self::zeros(size);
        inverse
            .values
            .par_chunks_mut(size)
            .enumerate()
            .for_each(|(i, row)| {
                for (j, value) in row.iter_mut().enumerate() {
                    let from = i.max(j);
                    *value = dot(&columns.row(i)[from..], &columns.row(j)[from..]);
                }
            });
        Some((inverse, log_determinant))
    }

    fn cholesky(&self) -> Option<Self> {
        let size = self.size;
        let mut lower = Self::zeros(size);
        for i in 0..size {
            let (done, rest) = lower.values.split_at_mut(i * size);
            let row = &mut rest[..size];
            for j in 0..i {
                let other = &done[j * size..][..size];
                row[j] = (self.at(i, j) - dot(&row[..j], &other[..j])) / other[j];
            }
            let left = self.at(i, i) - dot(&row[..i], &row[..i]);
            if !(left > 0.0 && left.is_finite()) {
                return None;
            }
            row[i] = left.sqrt();
        }
        Some(lower)
    }
}

/// The sum of products, in eight running sums so that the compiler may use vector registers.
#[must_use]
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let (chunks_a, chunks_b) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = chunks_a
        .remainder()
        .iter()
        .zip(chunks_b.remainder())
        .map(|(a, b)| a * b)
        .sum();
    for (a, b) in chunks_a.zip(chunks_b) {
        for ((sum, a), b) in sums.iter_mut().zip(a).zip(b) {
            *sum += a * b;
        }
    }
    sums.iter().sum::<f64>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_times_matrix_is_one() {
        // The second-difference matrix of 12 points: determinant 13 (classical result), inverse known to exist.
        let size = 12;
        let mut matrix = Square::zeros(size);
        for i in 0..size {
            matrix.add(i, i, 2.0);
            if i > 0 {
                matrix.add(i, i - 1, -1.0);
                matrix.add(i - 1, i, -1.0);
            }
        }
        let (inverse, log_determinant) = matrix.inverse().unwrap();
        assert!((log_determinant - 13.0_f64.ln()).abs() < 1e-12);
        for i in 0..size {
            let row = matrix.times(inverse.row(i));
            for (j, value) in row.iter().enumerate() {
                assert!((value - f64::from(i == j)).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn an_indefinite_matrix_is_refused() {
        let mut matrix = Square::zeros(2);
        matrix.add(0, 1, 1.0);
        matrix.add(1, 0, 1.0);
        assert!(matrix.inverse().is_none());
    }
}
