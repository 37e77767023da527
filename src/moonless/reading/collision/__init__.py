"""Whether and how we meet: encounters, charted dangers ahead, safe speed, manoeuvres, the trial."""
