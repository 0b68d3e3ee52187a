//! What a file is, told from its first bytes, and what its header promises, before any decoder sees it.
