namespace fadeward {}
