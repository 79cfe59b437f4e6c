//! Small complex matrices: the determinant of I − M and the eigenvalues of M.
//!
//! The eigenvalues are roots of the characteristic polynomial (coefficients by U. Le Verrier's method in the
//! form of D. K. Faddeev), found all at once (E. Durand 1960, I. O. Kerner 1966) from those of a neighbouring
//! matrix: along a fine grid each keeps its place, so that a branch can be followed. Double precision; six rows
//! at most. What is not a number stays so.

use rustfft::num_complex::Complex;

type C = Complex<f64>;

/// Outputs at most.
pub const MAX_OUTPUTS: usize = 6;

#[derive(Clone, Copy)]
pub struct Matrix {
    pub cells: [[C; MAX_OUTPUTS]; MAX_OUTPUTS],
    pub size: usize,
}

impl Matrix {
    pub fn new(size: usize) -> Self {
        Self { cells: [[C::default(); MAX_OUTPUTS]; MAX_OUTPUTS], size: size.min(MAX_OUTPUTS) }
    }

    /// det(I − M) without the rows and columns before `from`, by elimination with pivots.
    pub fn return_difference(&self, from: usize) -> C {
        let mut m = self.cells;
        for (row, cells) in m.iter_mut().enumerate() {
            for (column, cell) in cells.iter_mut().enumerate() {
                *cell = f64::from(u8::from(row == column)) - *cell;
            }
        }
        let mut product = C::new(1.0, 0.0);
        for column in from..self.size {
            let size = |row: &usize| m[*row][column].norm_sqr();
            let pivot = (column..self.size).max_by(|a, b| size(a).total_cmp(&size(b))).unwrap_or(column);
            if pivot != column {
                m.swap(pivot, column);
                product = -product;
            }
            let top = m[column];
            product *= top[column];
            for cells in &mut m[column + 1..self.size] {
                let factor = cells[column] / top[column];
                for (cell, above) in cells[column..].iter_mut().zip(&top[column..]) {
                    *cell -= factor * above;
                }
            }
        }
        product
    }

    /// In the order of those of a neighbour that `values` brings.
    pub fn eigenvalues(&self, values: &mut [C; MAX_OUTPUTS]) {
        let n = self.size;
        let polynomial = self.characteristic();
        let size = (0..n).flat_map(|row| self.cells[row][..n].iter()).map(|cell| cell.norm()).fold(0.0, f64::max);
        // Nothing to start from: anywhere, but not alike.
        if values[..n].iter().all(|value| *value == C::default()) {
            for (index, value) in values[..n].iter_mut().enumerate() {
                *value = size * C::from_polar(1.0, 0.4 + 2.1 * index as f64);
            }
        }
        for _ in 0..60 {
            let mut moved = 0.0;
            for at in 0..n {
                let x = values[at];
                let value = polynomial[..n].iter().rev().fold(C::new(1.0, 0.0), |sum, c| sum * x + c);
                let others = (0..n).filter(|&other| other != at).map(|other| x - values[other]);
                let mut apart: C = others.product();
                if apart.norm_sqr() == 0.0 {
                    apart = C::new(1e-9 * size.max(1e-30).powi(n as i32 - 1), 0.0);
                }
                let step = value / apart;
                values[at] -= step;
                moved = f64::max(moved, step.norm());
            }
            if moved <= 1e-13 * size {
                break;
            }
        }
    }

    /// Coefficients of det(xI − M) below xⁿ, the constant first.
    fn characteristic(&self) -> [C; MAX_OUTPUTS] {
        let n = self.size;
        let mut polynomial = [C::default(); MAX_OUTPUTS];
        let mut helper = [[C::default(); MAX_OUTPUTS]; MAX_OUTPUTS];
        let mut coefficient = C::new(1.0, 0.0);
        for step in 1..=n {
            // helper = M · helper + coefficient · I
            let mut next = [[C::default(); MAX_OUTPUTS]; MAX_OUTPUTS];
            for (row, cells) in next.iter_mut().enumerate().take(n) {
                for (column, cell) in cells.iter_mut().enumerate().take(n) {
                    *cell = (0..n).map(|k| self.cells[row][k] * helper[k][column]).sum();
                }
                cells[row] += coefficient;
            }
            helper = next;
            let trace: C = (0..n).map(|row| (0..n).map(|k| self.cells[row][k] * helper[k][row]).sum::<C>()).sum();
            coefficient = -trace / step as f64;
            polynomial[n - step] = coefficient;
        }
        polynomial
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn real(rows: &[&[f64]]) -> Matrix {
        let mut matrix = Matrix::new(rows.len());
        for (row, cells) in rows.iter().enumerate() {
            for (column, &cell) in cells.iter().enumerate() {
                matrix.cells[row][column] = C::new(cell, 0.0);
            }
        }
        matrix
    }

    /// Triangular matrices show their eigenvalues; a rotation by 90° has ±i.
    #[test]
    fn known_eigenvalues() {
        let cases: [(Matrix, Vec<C>); 3] = [
            (real(&[&[2.0, 5.0, 1.0], &[0.0, -1.0, 4.0], &[0.0, 0.0, 0.5]]), [2.0, -1.0, 0.5].map(C::from).to_vec()),
            (real(&[&[0.0, -1.0], &[1.0, 0.0]]), vec![C::i(), -C::i()]),
            (real(&[&[7.0, 0.0], &[0.0, 7.0]]), vec![C::from(7.0); 2]),
        ];
        for (matrix, expected) in cases {
            let mut values = [C::default(); MAX_OUTPUTS];
            matrix.eigenvalues(&mut values);
            for value in &expected {
                let nearest = values[..matrix.size].iter().map(|found| (found - value).norm()).fold(9.0, f64::min);
                assert!(nearest < 1e-5, "{value} is not among {values:?}");
            }
            // det(I − M) is the product of 1 − each.
            let product: C = expected.iter().map(|value| 1.0 - value).product();
            assert!((matrix.return_difference(0) - product).norm() < 1e-9);
        }
    }

    /// From a neighbour's each keeps its place.
    #[test]
    fn branches_keep_their_places() {
        let mut values = [C::default(); MAX_OUTPUTS];
        real(&[&[1.0, 0.1], &[0.2, -2.0]]).eigenvalues(&mut values);
        let before = values;
        real(&[&[1.01, 0.1], &[0.2, -2.02]]).eigenvalues(&mut values);
        for (a, b) in before.iter().zip(&values) {
            assert!((a - b).norm() < 0.05, "{before:?} {values:?}");
        }
    }
}
