"""The page of the weather: source and age of the forecast, coming nights, readings of the yard's thermometers."""
