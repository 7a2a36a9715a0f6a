"""Accuracy: audits of each technique against the others and against standards."""
