"""What the running process needs beside the watch: kernels compiled beforehand, garbage collected at good times."""
