"""The survey: what each pad is, measured gently before a sweep. Decisions are pure; `visit` measures."""
