# Pitch over time of every WAV file in a folder, by praat's autocorrelation
# method, every 20 ms where there is a pitch. Made sustained-pitch.csv with
# praat 6.3.07 from the files of the npm package tonejs-instrument-trumpet-wav
# 1.1.0:
#
#   npm pack tonejs-instrument-trumpet-wav@1.1.0 && tar xzf *.tgz
#   praat --run pitch.praat "$PWD/package" > sustained-pitch.csv
form Folder
	sentence folder
endform
writeInfoLine: "file,seconds,hz"
files = Create Strings as file list: "files", folder$ + "/*.wav"
count = Get number of strings
for i to count
	selectObject: files
	file$ = Get string: i
	sound = Read from file: folder$ + "/" + file$
	pitch = To Pitch (ac): 0.02, 75, 15, "no", 0.03, 0.45, 0.01, 0.35, 0.14, 2000
	frames = Get number of frames
	for j to frames
		seconds = Get time from frame number: j
		hz = Get value in frame: j, "Hertz"
		if hz <> undefined
			appendInfoLine: file$, ",", fixed$ (seconds, 4), ",", fixed$ (hz, 4)
		endif
	endfor
	removeObject: sound, pitch
endfor
