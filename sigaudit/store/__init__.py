"""One station's store on disk: Parquet, a catalog, and the engine that queries them."""
