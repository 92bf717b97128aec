"""Long work that people can watch and stop: what a job is, how workers claim its chunks, how it is answered."""
