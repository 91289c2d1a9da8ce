//! From raw tristimulus values to white point, distance from the aim and difference between two whites. Pure.
