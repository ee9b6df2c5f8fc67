//! Numbers in, the middle one out.

/// The middle of `values` in order, the upper of two; `None` for none. Leaves them in another order.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::median;

    #[test]
    fn the_middle_and_the_upper_of_two() {
        assert_eq!(median(&mut [3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [4.0, 1.0, 3.0, 2.0]), Some(3.0));
        assert_eq!(median(&mut []), None);
    }
}
