"""Reading: workbooks to plain values, and every text that is not understood to a finding."""
