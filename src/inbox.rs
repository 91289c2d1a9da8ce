//! The drop folder: wakes on hints, scans for truth, waits until a file is whole, moves it once it is settled.
