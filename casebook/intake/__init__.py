"""Files in: tables of text become values, and every problem is collected before any refusal."""
