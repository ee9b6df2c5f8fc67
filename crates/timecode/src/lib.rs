//! COUNTING: frame rates as exact fractions, labels, drop-frame and midnight.
