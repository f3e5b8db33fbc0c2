module cardwright

go 1.26
