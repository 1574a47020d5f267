//! What a person brought (original bytes by digest), what was made of it (edge columns), what was said about it.
