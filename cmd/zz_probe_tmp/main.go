package main
import ("fmt";"time";_ "gonum.org/v1/plot";"os")
var _ = time.Now
func main(){ if len(os.Args)>1 {fmt.Println("x")} }
