"""From crossings to detection rates: proofs of crossing, intervals, two lines, rates."""
