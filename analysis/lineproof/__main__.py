from lineproof.cli import main

main()
