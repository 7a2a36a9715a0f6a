"""Puts this folder on the path, so that the tests of several stages share `drawn`."""
