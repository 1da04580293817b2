//! The direction of a subgradient step.

/// How much of the last direction is taken off where it points back; source: the paper's own value.
const TURN: f64 = 1.5;

/// Turns a direction towards the slope, away from where it last went if that points back (Camerini,
/// Fratta and Maffioli 1975). Answers the square of its length.
pub(crate) fn deflect(direction: &mut [f64], slope: impl Iterator<Item = f64> + Clone) -> f64 {
    let along: f64 = direction.iter().zip(slope.clone()).map(|(d, s)| *d * s).sum();
    let square: f64 = direction.iter().map(|d| d * d).sum();
    let keep = if along < 0.0 && square > 0.0 { -TURN * along / square } else { 0.0 };
    direction.iter_mut().zip(slope).for_each(|(d, s)| *d = s + keep * *d);
    direction.iter().map(|d| d * d).sum()
}

#[cfg(test)]
mod tests {
    use super::deflect;

    // Source: by hand: (1, 1) against (-1, 0) keeps 1.5 * 1/2 of it: (-1, 0) + 0.75 (1, 1).
    #[test]
    fn what_points_back_is_turned() {
        let mut direction = [1.0, 1.0];
        let square = deflect(&mut direction, [-1.0, 0.0].into_iter());
        assert_eq!((direction, square), ([-0.25, 0.75], 0.625));
        let mut onward = [1.0, 1.0];
        assert_eq!(deflect(&mut onward, [2.0, 0.0].into_iter()), 4.0);
        assert_eq!(onward, [2.0, 0.0]);
    }
}
