"""Stage trenches: floors and layers met under the seabed in; deposit thickness out."""
