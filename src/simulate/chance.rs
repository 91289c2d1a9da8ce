//! Seeded chance of the simulator's own: the same seed gives the same room on every machine and in every version.
//!
//! xoshiro256++ seeded through splitmix64 (Blackman and Vigna 2021); normal numbers by the polar method (Marsaglia and
//! Bray 1964) with `libm`, so that no platform's mathematics shows.

/// A stream of numbers.
#[derive(Debug, Clone)]
pub struct Chance {
    state: [u64; 4],
}

impl Chance {
    /// The stream of `seed`.
    pub fn new(seed: u64) -> Self {
        let mut at = seed;
        let state = [0; 4].map(|_: u64| {
            at = at.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = at;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        });
        Self { state }
    }

    /// Another stream that shares nothing with this one but the seed: one a thing, so that things do not disturb each
    /// other.
    pub fn split(&mut self) -> Self {
        Self::new(self.whole())
    }

    /// 64 random bits.
    pub fn whole(&mut self) -> u64 {
        let [a, b, c, d] = self.state;
        let out = a.wrapping_add(d).rotate_left(23).wrapping_add(a);
        let (c, d) = (c ^ a, d ^ b);
        self.state = [a ^ d, b ^ c, c ^ (b << 17), d.rotate_left(45)];
        out
    }

    /// Evenly in `0.0..1.0`.
    pub fn share(&mut self) -> f64 {
        (self.whole() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly in `low..high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// True with this probability.
    pub fn happens(&mut self, probability: f64) -> bool {
        self.share() < probability
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        loop {
            let (x, y) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let r = x * x + y * y;
            if r > 0.0 && r < 1.0 {
                return x * libm::sqrt(-2.0 * libm::log(r) / r);
            }
        }
    }

    /// `median · e^(spread · normal)`.
    pub fn about(&mut self, median: f64, spread: f64) -> f64 {
        median * libm::exp(spread * self.normal())
    }

    /// −1 or 1.
    pub fn sign(&mut self) -> f64 {
        if self.happens(0.5) { 1.0 } else { -1.0 }
    }

    /// Days between events that come `per_year` times a year on average.
    pub fn wait(&mut self, per_year: f64) -> f64 {
        -libm::log(1.0 - self.share()) / per_year * 365.25
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_is_fixed_and_looks_normal() {
        // First output of xoshiro256++ after splitmix64 from 0, computed apart from this code by the published
        // recurrences.
        assert_eq!(Chance::new(0).whole(), 5_987_356_902_031_041_503);
        let mut chance = Chance::new(7);
        let numbers: Vec<f64> = (0..20_000).map(|_| chance.normal()).collect();
        let mean = numbers.iter().sum::<f64>() / 2e4;
        let variance = numbers.iter().map(|x| x * x).sum::<f64>() / 2e4 - mean * mean;
        let far = numbers.iter().filter(|x| x.abs() > 1.959_964).count() as f64 / 2e4;
        assert!(mean.abs() < 0.025 && (variance - 1.0).abs() < 0.035 && (far - 0.05).abs() < 0.006);
    }
}
