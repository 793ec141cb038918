"""Every row of the register out of one database and into another, of either engine; and whether it is sound."""
