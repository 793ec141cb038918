"""Every change a person or a job can make; actions insert, stamp and flush, never commit."""
