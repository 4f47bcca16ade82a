"""What every room shares: units, the variable table, addressed random streams, errors, references."""
