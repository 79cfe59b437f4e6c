//! The style of a report on recordings, for the screen and for paper: black on white, 11 points, no colour that counts.

pub const STYLE: &str = "\
*{box-sizing:border-box}\
@page{margin:12mm}\
body{font:11pt/1.3 'Liberation Sans',Arial,'DejaVu Sans',sans-serif;color:#000;background:#fff;max-width:190mm;margin:0 auto;padding:4mm}\
@media print{body{padding:0;max-width:none}}\
h1{font-size:18pt;margin:0 0 2mm}h2{font-size:13pt;margin:6mm 0 1.5mm}h3{font-size:11pt;margin:3mm 0 1mm}\
h1,h2,h3,thead{break-after:avoid}figure,tr,li{break-inside:avoid}\
p{margin:0 0 1.5mm}.small{margin:0;color:#333}\
table{border-collapse:collapse;width:100%;margin:1mm 0 2mm}\
th,td{border:.3mm solid #000;padding:.6mm 1mm;text-align:left;vertical-align:top;overflow-wrap:break-word}\
.name{overflow-wrap:anywhere;min-width:34mm}.n{white-space:nowrap}\
th{border-bottom-width:.7mm;overflow-wrap:normal}thead{display:table-header-group}\
.matrix{width:auto;max-width:100%}.matrix th{font-weight:400}.matrix td{text-align:center}.matrix .name{text-align:left;min-width:24mm}\
pre{font:11pt/1.3 'Liberation Mono','DejaVu Sans Mono',monospace;margin:0;white-space:pre-wrap}\
ul{margin:1mm 0;padding-left:0;list-style:none}li{margin:0 0 .8mm}\
figure{margin:1mm 0}figcaption{color:#333}\
svg{display:block;width:100%;height:auto}svg.sign{display:inline-block;width:5mm;height:5mm;vertical-align:-1mm}";
