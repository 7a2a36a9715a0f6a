"""The plan viewer: one page that holds plan, figures and sources, and fetches nothing."""
