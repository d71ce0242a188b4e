"""Coverage-guided fuzzing of the decoders; not part of any test run."""
