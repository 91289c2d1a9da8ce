//! Bytes in, readings and defects out; picks the format by content and never touches a file.
