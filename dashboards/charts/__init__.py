"""Draw answers: one file a question, each chart a pure function of the answer."""
