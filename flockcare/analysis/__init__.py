"""Calculations on foot checks: pure functions on numbers and dates, no records, no clock."""
